"""The part of an import that belongs to no single reel: reel types, and the sites that the files name."""

from django.utils.text import slugify

from inspections.domain.intake import REEL_TYPES, REELS, FileRow, TypeFacts, is_slug, problem, sort_out, type_problems
from inspections.services.intake.run import ACT, ImportRun, typed
from reels import access
from reels.domain.winding import drum_from
from reels.domain.words import UnusualRule
from reels.models import ReelType, Site
from reels.services.history import record_act

_COLUMNS = tuple(column.name for column in REEL_TYPES.columns)
# an empty cell is kept; others take their default
_MAY_BE_UNKNOWN = ("layer_rise_mm", "layer_rise_u_mm", "pitch_mm", "least_length_m")


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
    rows = [typed(staged) for staged in run.staging.rows_of("")]
    new = []
    for row in run.new_of(REEL_TYPES.file, sort_out(rows, recorded, lambda values: values["code"])):
        code = row.values["code"]
        if run.tell(type_problems(row)):
            run.broken.add((REEL_TYPES.file, code))
            continue
        run.types[code] = _reel_type(row)
        run.facts[code] = TypeFacts(drum=drum_from(row.values))
        new.append(run.types[code])
    return new


def _reel_type(row: FileRow) -> ReelType:
    given = {name: value for name, value in row.values.items() if value is not None or name in _MAY_BE_UNKNOWN}
    if given.get("unusual") == UnusualRule.ACCEPT:
        given["unusual_publication"] = f"not named; accepted in the imported {row.file}"
    return ReelType(**given)


def _find_sites(run: ImportRun) -> None:
    """A site is named by its code or its name; an unknown one is made, its code drawn from what the file says."""
    known = {name: site for site in Site.objects.all() for name in (site.name, site.code)}
    for said, line in run.site_lines.items():
        code = said if is_slug(said) else slugify(said)[:30]
        site = known.get(said) or known.get(code)
        if not site and not code:
            run.tell([problem(REELS.file, line, "site", said, "a code or name with letters (A to Z) or digits")])
            continue
        if not site:
            site = known[code] = Site(code=code, name=said)
            run.new_sites.append(site)
        run.sites[said] = site
