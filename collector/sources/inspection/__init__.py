"""Inspection of a file that nobody has described yet: a profile, with every doubt in one sentence."""

from __future__ import annotations

from itertools import islice
from pathlib import Path

from collector.contract import quantities
from collector.contract.messages import RunMessage
from collector.contract.refusal import Refusal
from collector.errors import UserError
from collector.sources import csv_file, profiles
from collector.sources.inspection.doubts import Doubts
from collector.sources.inspection.mapped import map_columns
from collector.sources.inspection.mapping import Mapping
from collector.sources.inspection.proposal import Kind, Known, Proposal
from collector.sources.inspection.sections import head_of, time_of
from collector.sources.inspection.seen import see
from collector.sources.inspection.writing import as_toml

__all__ = ["Known", "Proposal", "as_toml", "propose"]

ROWS_TRIED = 500


def propose(path: Path, known: Known) -> Proposal:
    """Look at the beginning and at parts of a file, and propose how to read it.

    Parameters
    ----------
    path : Path
        Of any size: about 400 kB of it are read.
    known : Known
        What a person says beforehand.

    Returns
    -------
    Proposal

    Raises
    ------
    UserError
        When its name cannot be shown, or the file is none that could hold shots or gaugings: not text, empty,
        only a header, no numbers.
    """
    if not path.name.isprintable():
        raise UserError(f"the name of the file {path.name!a} has signs that cannot be shown; rename it")
    doubts = Doubts()
    seen = see(path, known.now, doubts)
    mapping = map_columns(seen.free, path.name, seen.same_shot)
    kind = known.kind or _kind(mapping)
    if kind == "shots":
        mapping.weigh_shots()
    elif known.kind is not None:
        mapping.take_as_of_discs()
    if known.kind is None:
        _note_a_guess(kind, mapping, doubts)
    _note_the_rest(kind, mapping, doubts)
    if not (mapping.characteristics if kind == "gaugings" else mapping.values):
        raise UserError(f"{path.name} has no column that could be a value of {kind}; give a press's export")
    head = head_of(seen, known, kind, doubts)
    time = time_of(seen, known, kind, mapping, path, doubts)
    proposal = Proposal(file_name=path.name, kind=kind, head=head, time=time, mapping=mapping, doubts=doubts)
    _try(path, proposal, known)
    return proposal


def _kind(mapping: Mapping) -> Kind:
    moving = sum(len(set(each.column.numbers)) > 1 for each in mapping.values)
    # A weight may be of the shot; beside other values of shots it says nothing about the kind of file.
    of_discs = mapping.surely_of_discs() if moving else mapping.characteristics
    return "gaugings" if len(of_discs) > moving else "shots"


def _note_a_guess(kind: Kind, mapping: Mapping, doubts: Doubts) -> None:
    mapped = [*mapping.values, *mapping.setpoints]
    if kind == "shots" and all(quantities.find(each.key) is None for each in mapped):
        doubts.add(
            "kind",
            "no column is a quantity that presses are known to send, so that these are shots is a guess; "
            "--kind gaugings proposes what is measured on discs",
        )


def _note_the_rest(kind: Kind, mapping: Mapping, doubts: Doubts) -> None:
    if mapping.characteristics and mapping.values:
        names = ", ".join(repr(each.column.name) for each in mapping.characteristics)
        doubts.add(
            "kind",
            f"the file has values of shots and gaugings of discs ({names}); this profile takes the {kind}, "
            f"and --kind {'shots' if kind == 'gaugings' else 'gaugings'} proposes one for the rest",
        )


def _try(path: Path, proposal: Proposal, known: Known) -> None:
    """Read the first rows with the profile, so that what it cannot read is among the doubts."""
    profile = profiles.parse(as_toml(proposal), f"proposed for {path.name}")
    if profile.newest_first and path.stat().st_size > ROWS_TRIED * 1000:
        return  # reading from the end would go through all of it
    job = csv_file.Import(
        site="-", now=known.now, received_at=known.now, press=known.press or "-", run=known.run or "-"
    )
    read = csv_file.read(path, profile, job)
    tried = list(islice((each for each in read if not isinstance(each, RunMessage)), ROWS_TRIED))
    refused = [record for record in tried if isinstance(record, Refusal)]
    if refused:
        proposal.doubts.add(
            "kind",
            f"of the first {len(tried)} records {len(refused)} would be refused, "
            f"the first as: {refused[0].sentence()}",
        )
