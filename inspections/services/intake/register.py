"""The part of an import that belongs to no single reel: reel types, and the sites that the files name."""

from dataclasses import replace

from django.utils.text import slugify

from inspections.domain.intake.files import LAPSES_BY, REEL_TYPES, REELS, FileRow, is_slug, problem
from inspections.domain.intake.rules import TypeFacts, sort_out, type_problems
from inspections.services.intake.run import ACT, ImportRun, row_of
from reels import access
from reels.domain.life import LIMIT_NAMES
from reels.domain.winding import drum_from
from reels.domain.words import UnusualRule, WindingSense
from reels.models import ReelType, Site
from reels.services.history import Actor, record_act

_COLUMNS = tuple(column.name for column in REEL_TYPES.columns)
# an empty cell is kept; what is empty otherwise takes its default
_MAY_BE_UNKNOWN = ("layer_rise_mm", "layer_rise_u_mm", "pitch_mm", "least_length_m", *LAPSES_BY, *LIMIT_NAMES)


def store_register(run: ImportRun) -> None:
    """Make the new types and sites, in one entry of the register's history."""
    chain = access.lock_register() if run.is_writing else None
    new_types = _new_types(run)
    _find_sites(run)
    if chain and run.is_writing and (new_types or run.new_sites):
        with record_act(chain, ACT, run.actor, run.at) as act:
            act.add_all(new_types)
            act.add_all(run.new_sites)


def _new_types(run: ImportRun) -> list[ReelType]:
    run.types = {row.code: row for row in ReelType.objects.all()}
    recorded = [{name: getattr(row, name) for name in _COLUMNS} for row in run.types.values()]
    run.facts = {values["code"]: TypeFacts(drum=drum_from(values)) for values in recorded}
    rows = [_stated(row_of(staged)) for staged in run.staging.rows_of("")]
    new = []
    for row in run.take_new(REEL_TYPES.file, sort_out(rows, recorded, lambda values: values["code"])):
        code = row.values["code"]
        if run.report(type_problems(row)):
            run.broken_rows.add((REEL_TYPES.file, code))
            continue
        run.types[code] = _reel_type(row, run.actor)
        run.facts[code] = TypeFacts(drum=drum_from(row.values))
        new.append(run.types[code])
    return new


def _stated(row: FileRow) -> FileRow:
    """The row as if the columns of its empty cells were absent, but for those where empty means something."""
    kept = {name: value for name, value in row.values.items() if value is not None or name in _MAY_BE_UNKNOWN}
    return replace(row, values={**kept, **WindingSense.completing(kept)})


def _reel_type(row: FileRow, actor: Actor) -> ReelType:
    """The new type; what a file says of its rules has to be sourced and confirmed like anything else."""
    columns = {**row.values, "rules_written_by": [actor.person.pk]}
    if columns.get("unusual") == UnusualRule.ACCEPT:
        columns["unusual_publication"] = f"not named; accepted in the imported {row.file}"
    return ReelType(**columns)


def _find_sites(run: ImportRun) -> None:
    """A site is named by its code or its name; an unknown one is made, its code drawn from what the file says."""
    known = {name: site for site in Site.objects.all() for name in (site.name, site.code)}
    for name, line in run.site_lines.items():
        code = name if is_slug(name) else slugify(name)[:30]
        site = known.get(name) or known.get(code)
        if not site and not code:
            run.report([problem(REELS.file, line, "site", name, "a code or name with letters (A to Z) or digits")])
            continue
        if not site:
            site = known[code] = Site(code=code, name=name)
            run.new_sites.append(site)
        run.sites[name] = site
