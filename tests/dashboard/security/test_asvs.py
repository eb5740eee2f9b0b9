"""OWASP ASVS 4.0.3, level 1: which requirements apply to the screens, and which test holds each.

Numbers and wording are from memory and shortened. What does not apply, and why: 2.1.9 to 2.1.12 of password
managers and display are met by plain password fields; 2.5 beyond one-time codes (there is no e-mail
recovery); 2.7 (no codes by phone or mail); 3.5 beyond the provider's
ID token (no tokens for programs); 12.1, 12.4 (no uploads); 13 (no web
service that changes anything); 9.2 but for the
identity provider, whose certificate is checked. TLS itself (9.1) is the
certificate of the settings or of the proxy before them: what is tested is that the cookie and the headers
change with it. 4.3.1 asks for a second factor for admins, which there is not.
"""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

TESTS = Path(__file__).resolve().parents[2]
PEOPLE = "collector/people/test_people.py"
SIGN_IN = "dashboard/security/test_sign_in.py"
READING = "dashboard/security/test_reading.py"
ROLES = "collector/people/test_roles.py"
VERIFY = "collector/proof/test_verify.py"
SERVER = "browser/test_server.py"
PROVIDER = "dashboard/security/test_provider.py"

# number, what it asks, file, tests
REQUIREMENTS: tuple[tuple[str, str, str, tuple[str, ...]], ...] = (
    ("1.4.1 / 4.1.1", "access is decided by the server, at one trusted place", ROLES, (
        "test_every_act_that_is_written_down_is_in_the_table",
        "test_an_action_of_a_page_is_refused_without_its_role",
    )),
    ("2.1.1", "passwords have at least 12 characters", PEOPLE, (
        "test_a_password_that_is_easily_guessed_is_refused",
    )),
    ("2.1.2 / 2.1.3 / 2.1.4", "64 characters and more, of any sign, never cut", PEOPLE, (
        "test_long_passwords_of_any_signs_are_taken",
    )),
    ("2.1.5 / 2.1.6", "one can change one's password, with the current one", SIGN_IN, (
        "test_changing_one_s_password_needs_the_current_one_and_signs_out",
    )),
    ("2.1.7", "known passwords are refused", PEOPLE, ("test_a_password_that_is_easily_guessed_is_refused",)),
    ("2.2.1", "guessing is slowed down: at most 100 an hour and account", PEOPLE, (
        "test_at_most_a_hundred_wrong_passwords_an_hour_get_through",
        "test_guessing_shuts_a_name_out_even_with_the_right_secret_and_ends_by_itself",
        "test_a_hundred_guesses_at_once_are_no_more_than_five",
        "test_twenty_wrong_pins_switch_it_off_until_the_password_is_used",
    )),
    ("2.3.1", "first secrets are random, short-lived and used once", PEOPLE, (
        "test_a_code_is_used_once_is_over_after_two_days_and_fits_one_name",
        "test_codes_cannot_be_guessed_by_trying",
    )),
    ("2.5.2 / 2.5.4", "no hints, no default or shared accounts", PEOPLE, (
        "test_the_first_admin_needs_the_code_of_the_terminal_and_there_is_only_one_first",
    )),
    ("2.4.1 (level 2)", "secrets are kept as salted slow hashes", PEOPLE, (
        "test_secrets_are_argon2id_with_the_library_s_parameters_and_a_salt_each",
    )),
    ("3.1.1 / 3.4.5", "no session in an address; the cookie has a path", SIGN_IN, (
        "test_signing_in_leads_back_to_the_page_and_sets_one_cookie",
    )),
    ("3.2.1", "signing in makes a new session", SIGN_IN, (
        "test_a_token_from_before_signing_in_is_not_taken_over_and_the_old_sign_in_ends",
    )),
    ("3.2.2 / 3.2.3", "tokens are random and in cookies only", SIGN_IN, (
        "test_a_made_up_cookie_never_reaches_the_store",
        "test_the_store_holds_no_secret_in_the_clear",
    )),
    ("3.3.1", "signing out ends the session", SIGN_IN, ("test_signing_out_ends_it_in_the_store_too",)),
    ("3.3.2", "sessions end by themselves", PEOPLE, (
        "test_a_sign_in_ends_by_itself_and_when_signed_out",
    )),
    ("3.4.1 / 3.4.2 / 3.4.3 / 3.4.4", "Secure, HttpOnly, SameSite, __Host-", SIGN_IN, (
        "test_the_cookie_is_for_the_server_alone",
    )),
    ("3.5.3 (level 2) of the provider", "its token is signed, for us and fresh", PROVIDER, (
        "test_a_token_that_lies_signs_nobody_in",
        "test_a_token_that_is_not_signed_by_the_provider_signs_nobody_in",
        "test_a_shared_secret_among_the_keys_is_none",
        "test_keys_may_change_from_one_sign_in_to_the_next",
    )),
    ("3.2.1 / 4.2.2 of the provider", "a sign-in ends in the browser that began it, once", PROVIDER, (
        "test_a_state_is_used_once",
        "test_another_browser_cannot_end_what_this_one_began",
        "test_a_stolen_code_is_worth_nothing_in_another_sign_in",
        "test_a_made_up_cookie_of_a_sign_in_under_way_is_none",
        "test_who_comes_back_too_late_begins_again",
        "test_signing_in_makes_a_new_session_and_ends_the_one_before",
    )),
    ("3.3.1 / 4.1.1 of the provider", "signing out, and what is disabled or lost there, ends it", PROVIDER, (
        "test_signing_out_ends_it_and_the_next_one_is_asked_again",
        "test_a_disabled_account_is_refused",
        "test_roles_follow_the_groups_and_are_gone_with_them",
        "test_who_has_no_role_is_refused_and_made_nothing_of",
        "test_the_name_of_somebody_here_takes_over_nothing",
    )),
    ("3.4 of the provider", "Secure, HttpOnly, SameSite, __Host-", PROVIDER, (
        "test_the_cookie_on_the_way_is_for_the_server_alone",
    )),
    ("3.7.1 of the provider", "choosing a PIN asks who one is again", PROVIDER, (
        "test_a_pin_is_chosen_right_after_the_provider_asked",
        "test_a_pin_is_not_chosen_at_a_browser_that_was_left",
        "test_where_the_provider_need_not_ask_again_its_word_makes_no_pin",
    )),
    ("5.1.5 of the provider", "no redirect to another site", PROVIDER, (
        "test_nobody_is_sent_elsewhere_afterwards",
        "test_a_discovery_document_that_leads_astray_is_refused",
    )),
    ("7.1.1 / 7.4.1 / 2.10.4 (level 2) of the provider", "no secret in a log, no stack", PROVIDER, (
        "test_the_client_secret_is_in_no_log_and_no_answer",
        "test_a_provider_that_is_away_is_a_sentence_and_passwords_work_on",
    )),
    ("3.7.1", "changing the password asks for it again", SIGN_IN, (
        "test_changing_one_s_password_needs_the_current_one_and_signs_out",
    )),
    ("4.1.2 / 4.1.3", "least right; nobody raises their own", PEOPLE, (
        "test_only_an_admin_looks_after_accounts",
        "test_an_act_needs_its_role_and_an_unknown_act_is_nobodys",
        "test_one_sign_in_cannot_be_used_under_another_name",
    )),
    ("4.1.5", "access fails closed", SIGN_IN, (
        "test_while_the_store_is_away_a_sentence_comes_and_no_stack",
    )),
    ("4.2.2", "forms cannot be sent by other sites", SIGN_IN, (
        "test_a_form_that_another_site_sends_is_refused",
        "test_a_form_without_the_token_of_this_browser_is_refused",
        "test_signing_out_is_no_link",
    )),
    ("4.2.2 of the live connection", "other sites cannot open it", SERVER, (
        "test_another_site_cannot_open_the_live_connection",
    )),
    ("4.3.1, without a second factor", "accounts are changed by admins only", PEOPLE, (
        "test_only_an_admin_looks_after_accounts",
    )),
    ("4.1.1 of people who left", "a disabled account does nothing from that moment", PEOPLE, (
        "test_who_is_removed_while_signed_in_can_do_nothing_from_that_moment",
        "test_a_role_that_is_taken_away_is_gone_for_who_is_signed_in",
    )),
    ("4.3.2 / 12.3.1", "no path leads out of what is served", SERVER, (
        "test_no_path_leads_out_of_what_is_served",
    )),
    ("5.1.5", "no redirect to another site", SIGN_IN, (
        "test_after_signing_in_nobody_is_sent_elsewhere",
    )),
    ("5.2.1 / 5.3.3", "what people wrote is escaped", SIGN_IN, (
        "test_markup_in_a_name_stays_text",
        "test_what_was_typed_never_comes_back",
    )),
    ("5.1.3", "input is checked against what is allowed", PEOPLE, (
        "test_a_name_that_is_none_or_the_service_s_own_is_refused",
    )),
    ("7.1.1", "no password in a log or an answer", SIGN_IN, (
        "test_what_was_typed_never_comes_back",
    )),
    ("7.4.1", "errors show a sentence, no stack", SIGN_IN, (
        "test_a_form_that_is_too_large_or_none_ends_in_a_sentence",
        "test_while_the_store_is_away_a_sentence_comes_and_no_stack",
    )),
    ("7.3.3 (level 2)", "records of what was done cannot be changed unseen", VERIFY, (
        "test_a_journal_that_was_changed_reordered_or_cut_is_found",
    )),
    ("8.2.1", "pages with personal data are not kept by the browser", READING, (
        "test_the_forms_run_no_script_and_are_not_kept",
    )),
    ("8.3.1", "secrets travel in the body of a POST", SIGN_IN, (
        "test_signing_in_leads_back_to_the_page_and_sets_one_cookie",
    )),
    ("14.3.2 / 14.3.3", "no debugging, no stack", SIGN_IN, (
        "test_a_mistake_of_ours_shows_no_stack",
    )),
    ("14.4.1 to 14.4.7", "type, sniffing, CSP, HSTS, referrer, framing", READING, (
        "test_every_answer_has_the_headers",
        "test_the_pages_load_nothing_from_another_site",
    )),
    ("14.5.1 / 14.5.3", "methods and origins that are not meant are refused", SIGN_IN, (
        "test_signing_out_is_no_link",
        "test_a_form_that_another_site_sends_is_refused",
    )),
)  # fmt: skip


@pytest.mark.parametrize(
    ("file", "name"),
    sorted({(file, name) for _, _, file, names in REQUIREMENTS for name in names}),
)
def test_every_requirement_has_the_tests_it_names(file: str, name: str) -> None:
    tree = ast.parse((TESTS / file).read_text(encoding="utf-8"))
    found = {node.name for node in tree.body if isinstance(node, ast.FunctionDef)}

    assert name in found
