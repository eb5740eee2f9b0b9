"""What the screens' web server does beside the pages: signing in, who may read, headers."""
