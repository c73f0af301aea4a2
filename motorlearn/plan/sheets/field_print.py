"""Field sheets, skill sheet and drill cards as pages to print from a browser, on A4."""

from collections.abc import Sequence

from jinja2 import Environment

from motorlearn.design import Design, Drill, Fault
from motorlearn.plan.programme_table import length_of
from motorlearn.plan.sheets.field_forms import FieldForm

_STYLE = """
@page { size: A4 %(turn)s; margin: 12mm; }
* { box-sizing: border-box; }
body { font-family: sans-serif; font-size: %(size)s; color: #111; margin: 0; }
section { page-break-after: always; padding: 0 0 4mm; }
section:last-child { page-break-after: auto; }
h1 { font-size: 1.5em; margin: 0 0 2mm; } h2 { font-size: 1.15em; margin: 4mm 0 1mm; }
table { border-collapse: collapse; width: 100%%; }
thead { display: table-header-group; } tr { page-break-inside: avoid; }
th, td { border: 0.3mm solid #555; padding: 1mm; text-align: center; height: 7mm; }
th { background: #e3eaf0; font-weight: bold; }
td.word, td.note, th.note { text-align: left; } td.word { white-space: nowrap; }
th.note { min-width: 30mm; } th.box { min-width: 8mm; }
.facts { display: flex; flex-wrap: wrap; gap: 2mm 8mm; margin: 0 0 2mm; }
.facts span.blank { display: inline-block; min-width: 40mm; border-bottom: 0.3mm solid #555; }
.told { margin: 0 0 3mm; padding: 0; list-style: none; line-height: 1.35; }
.told b { font-weight: bold; }
.card { border: 0.5mm solid #333; border-radius: 3mm; padding: 6mm; }
.card dl { display: grid; grid-template-columns: 42mm 1fr; gap: 2mm 4mm; margin: 0; }
dt { font-weight: bold; } dd { margin: 0; }
.cue { font-size: 1.5em; font-weight: bold; margin: 3mm 0; }
table.plain td, table.plain th { text-align: left; vertical-align: top; height: auto; }
.small { font-size: 0.85em; color: #444; }
"""
_HEAD = """<!doctype html>
<html lang="en"><head><meta charset="utf-8"><title>{{ title }}</title>
<style>{{ style }}</style></head><body>
"""
_FORMS = (
    _HEAD
    + """{% for form in forms %}<section>
<h1>{{ form.title }}</h1>
<p class="facts">{% for word, value in form.facts %}<span><b>{{ word }}</b>
{% if value %}{{ value }}{% else %}<span class="blank">&nbsp;</span>{% endif %}</span>
{% endfor %}</p>
<ul class="told">{% for word, text in form.told %}<li><b>{{ word }}</b>: {{ text }}</li>
{% endfor %}</ul>
<table><thead><tr>{% for heading in form.headings %}
<th scope="col" class="{{ form.kinds[loop.index0] }}">{{ heading.replace("_", " ") }}</th>
{% endfor %}</tr></thead>
<tbody>{% for row in form.rows %}<tr>{% for cell in row %}
<td class="{{ form.kinds[loop.index0] }}">{{ cell }}</td>{% endfor %}</tr>
{% endfor %}</tbody></table>
</section>{% endfor %}
</body></html>
"""
)
_SKILL = (
    _HEAD
    + """<section>
<h1>{{ title[:1] | upper }}{{ title[1:] }}</h1>
{% if kind %}<p>{{ kind }}</p>{% endif %}
{% for phase in phases %}<h2>{{ phase.name or "Whole skill" }}</h2>
{% if phase.points %}<ul>{% for point in phase.points %}<li>{{ point }}</li>{% endfor %}</ul>
{% endif %}{% if phase.faults %}<table class="plain"><thead><tr><th scope="col">Fault</th>
<th scope="col">Sign to look for</th><th scope="col">What it leads to</th>
<th scope="col">Cue</th><th scope="col">Drills</th></tr></thead><tbody>
{% for fault in phase.faults %}<tr><td>{{ fault.name }}</td><td>{{ fault.sign }}</td>
<td>{{ fault.consequence }}</td><td><b>{{ fault.cue }}</b></td>
<td>{{ drills[fault.name] | join(", ") }}</td></tr>{% endfor %}</tbody></table>{% endif %}
{% endfor %}
{% if design.checklist %}<h2>Checklist</h2><p>Each item: {{ design.checklist.meaning }}.</p>
<table class="plain"><thead><tr><th scope="col">Item</th><th scope="col">Phase</th>
{% if looked %}<th scope="col">Looks for</th>{% endif %}</tr></thead>
<tbody>{% for item in design.checklist.items %}<tr><td>{{ item.name }}</td><td>{{ item.phase }}</td>
{% if looked %}<td>{{ item.looks_for }}</td>{% endif %}</tr>
{% endfor %}</tbody></table>{% endif %}
</section></body></html>
"""
)
_CARDS = (
    _HEAD
    + """{% for card in cards %}<section><div class="card">
<h1>{{ card.title[:1] | upper }}{{ card.title[1:] }}</h1>
{% for cue in card.cues %}<p class="cue">{{ cue }}</p>{% endfor %}
<dl>{% for word, text in card.lines %}<dt>{{ word }}</dt><dd>{{ text }}</dd>{% endfor %}</dl>
</div></section>{% endfor %}
</body></html>
"""
)
_ENGINE = Environment(autoescape=True, trim_blocks=True)


def printed_forms(forms: Sequence[FieldForm], title: str) -> str:
    """Write field sheets as one page of HTML, each form on sheets of its own, A4 landscape."""
    style = _STYLE % {"turn": "landscape", "size": "9.5pt"}
    return _ENGINE.from_string(_FORMS).render(forms=forms, title=title, style=style)


def skill_sheet(design: Design) -> str:
    """Write the skill on one page: phases, key points, faults with sign, consequence and cue."""
    skill = design.skill
    kind = ", ".join(filter(None, (skill.timing, skill.environment, skill.movement)))
    names = [phase.name for phase in skill.phases]
    listed = [
        {
            "name": phase.name,
            "points": phase.key_points,
            "faults": [fault for fault in skill.faults if fault.phase == phase.name],
        }
        for phase in skill.phases
    ]
    loose: list[Fault] = [fault for fault in skill.faults if fault.phase not in names]
    if loose:
        listed.append({"name": "", "points": (), "faults": loose})
    return _ENGINE.from_string(_SKILL).render(
        design=design,
        kind=kind,
        phases=listed,
        looked=design.checklist and any(item.looks_for for item in design.checklist.items),
        drills={
            f.name: [d.name for d in design.drills if f.name in d.faults] for f in skill.faults
        },
        title=skill.name or design.study.title,
        style=_STYLE % {"turn": "portrait", "size": "10pt"},
    )


def drill_cards(design: Design) -> str:
    """Write a card for each drill, one to a page, to be held in the hand."""
    cards = [
        {"title": drill.name, "cues": drill.cues, "lines": _card_lines(drill, design)}
        for drill in design.drills
    ]
    return _ENGINE.from_string(_CARDS).render(
        cards=cards,
        title=f"{design.study.title}: drills",
        style=_STYLE % {"turn": "portrait", "size": "14pt"},
    )


def _card_lines(drill: Drill, design: Design) -> list[tuple[str, str]]:
    unit = design.units.get("length", "")
    every = drill.feedback_every
    often = {None: "", 0: "none", 1: "after every trial"}.get(every, f"after every {every} trials")
    dose = (
        f"{drill.trials_per_session} trials" if drill.trials_per_session else "",
        f"{drill.minutes:g} min" if drill.minutes else "",
        f"{drill.effort} effort",
    )
    told = (drill.feedback, drill.feedback_from, often)
    lines = (
        ("what for", drill.purpose),
        ("step", f"{drill.step} ({drill.part} skill)" if drill.step and drill.part else ""),
        ("weeks", ", ".join(map(str, drill.weeks))),
        ("dose", ", ".join(filter(None, dose))),
        ("start", ", ".join(filter(None, (drill.start, length_of(drill.run_up, drill, unit))))),
        ("distance", length_of(drill.distance, drill, unit)),
        ("with", drill.object if drill.has_object else "no object"),
        ("partner", "yes" if drill.partner else ""),
        ("target", drill.target),
        ("against", ", ".join(drill.faults)),
        ("feedback", "; ".join(filter(None, told))),
        ("go on when", drill.advance_when),
    )
    return [(word, text) for word, text in lines if text]
