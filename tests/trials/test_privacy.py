"""Columns that identify people stay out of the table, and their values out of every message."""

import openpyxl
import pytest

import motorlearn as ml
from motorlearn.trials.sharing.privacy import _by_heading

SECRET = ["Ada Lovelace", "Alan Turing", "Grace Hopper", "Kathleen Booth"]


def read(folder, text, **options):
    file = folder / "t.csv"
    file.write_text(text, encoding="utf-8")
    return ml.read_trials(file, **options)


@pytest.mark.parametrize(
    ("heading", "values"),
    [
        ("Name", ["a", "b", "c", "d"]),
        ("first_name", ["a", "b", "c", "d"]),
        ("Nachname", ["a", "b", "c", "d"]),
        ("E-mail", ["", "", "", "x"]),
        ("parent email", ["", "", "", "x"]),
        ("Phone", ["1", "2", "3", "4"]),
        ("DOB", ["2001-01-01"] * 4),
        ("date of birth", ["2001-01-01"] * 4),
        ("home address", ["a", "b", "c", "d"]),
        ("post_code", ["1", "2", "3", "4"]),
        ("who", SECRET),
        ("contact", ["ada@example.org", "alan@example.org", "", ""]),
        ("reach at", ["+44 1632 960001", "+44 1632 960002", "01632 960003", "01632 960004"]),
        ("video_link", ["a", "b", "c", "d"]),
        ("coach_name", ["a", "b", "c", "d"]),
        ("coachName", ["a", "b", "c", "d"]),
        ("born", ["2010", "2011", "2012", "2013"]),
        ("medical_remark", ["a", "b", "c", "d"]),
        ("tester", ["Anna", "Bert", "Anna", "Bert"]),
        ("Versuchsleiterin", ["anna.meier", "b.huber", "anna.meier", "b.huber"]),
        ("Name der Spielerin", ["a", "b", "c", "d"]),
        ("Straße", ["a", "b", "c", "d"]),
        ("prénom du joueur", ["a", "b", "c", "d"]),
        ("Date de naissance", ["2001-01-01"] * 4),
        ("correo", ["a", "b", "c", "d"]),
        ("nombre y apellidos", ["a", "b", "c", "d"]),
        ("Geboortedatum", ["2001-01-01"] * 4),
        ("telefoonnummer", ["1", "2", "3", "4"]),
        ("Diagnose", ["a", "b", "c", "d"]),
    ],
)
def test_personal_columns_are_set_aside_and_their_values_not_repeated(tmp_path, heading, values):
    rows = "\n".join(f"p{i},{i % 2},{value}" for i, value in enumerate(values))
    trials = read(tmp_path, f"participant,hit,{heading}\n{rows}\nMean,0.5,Zoe Zander\n")
    assert list(trials.table.columns) == ["participant", "hit"]
    found = trials.problems[trials.problems["rule"] == "personal column set aside"]
    assert found[["column", "value"]].values.tolist() == [[heading, "(withheld)"]]
    told = trials.problems.to_string() + trials.changes.to_string() + trials.set_aside.to_string()
    assert not [value for value in [*values, "Zoe Zander"] if len(value) > 3 and value in told]


@pytest.mark.parametrize(
    ("heading", "values"),
    [
        ("task name", ["straight", "bank", "lob", "lob"]),
        ("site", ["North Hall", "North Hall", "South Hall", "South Hall"]),
        ("date", ["2026-03-02", "2026-03-03", "2026-03-04", "2026-03-05"]),
        ("when", ["02/03/2026", "03.03.2026", "04-03-2026", "05/03/26"]),
        ("started", ["02/03/2026 10:30", "03/03/2026 10:31", "04/03/2026 10:32", ""]),
        ("serial", ["1700000001", "1700000002", "1700000003", "1700000004"]),
        ("age", ["21", "22", "23", "24"]),
        ("mobility", ["1", "2", "3", "4"]),
        ("tester", ["T1", "T2", "T1", "T2"]),
        ("coach experience", ["1", "2", "3", "4"]),
        ("name of the task", ["straight", "bank", "lob", "lob"]),
    ],
)
def test_ordinary_columns_stay(tmp_path, heading, values):
    rows = "\n".join(f"p{i},{i % 2},{value}" for i, value in enumerate(values))
    trials = read(tmp_path, f"participant,hit,{heading}\n{rows}\n")
    assert heading in trials.table.columns
    assert trials.problems.empty


@pytest.mark.parametrize(
    ("kind", "headings"),
    [
        ("names", "Vor- und Nachname|Spielername|Teilnehmerinnenname|Probandenname|Trainername"),
        (
            "names",
            "nom de famille|Nombre completo|primer apellido|segundo apellido|naam van de ouder",
        ),
        ("dates of birth", "Geb.datum|geb_datum|Geburtsort|Jahrgang|née|date naiss|fecha nac"),
        ("telephone numbers", "Tel.-Nr.|Handynr|tél|celular|telefoonnr|Notfallkontakt|noodcontact"),
        ("e-mail addresses", "e-mailadres|courriel|E-Mail-Adresse"),
        (
            "notes on health",
            "injuries|Verletzung|Vorerkrankungen|blessures|antécédents|lesión|salud",
        ),
        ("notes on health", "health|health status|Behinderung|discapacidad|gezondheid|beperking"),
        ("origin or belief", "nationality|Staatsangehörigkeit|Ethnie|nationalité|nacionalidad"),
        ("official numbers", "Matrikelnummer|numéro de sécurité sociale|licence number|matricule"),
        ("signatures", "signature|Unterschrift|handtekening"),
        ("", "task name|group name|name of the drill|hand|height|score|health score|frame|team"),
        ("", "Testname|rename|dynamen|class|site|coach experience|mobility|race"),
    ],
)
def test_headings_in_five_languages(kind, headings):
    found = {heading: _by_heading(heading) for heading in headings.split("|")}
    expected = dict.fromkeys(found, kind)
    assert found == expected


def test_identifiers_that_are_names_or_addresses_are_kept_with_advice(tmp_path):
    rows = "\n".join(f"{name},{i % 2}" for i, name in enumerate(SECRET))
    trials = read(tmp_path, f"participant,hit\n{rows}\n")
    assert trials.table["participant"].tolist() == SECRET
    assert trials.problems[["rule", "value"]].values.tolist() == [
        ["identifiers look personal", "(withheld)"]
    ]


@pytest.mark.parametrize(
    ("identifiers", "rules"),
    [
        (["Anna", "Émile", "Jean-Luc", "Mia K."], ["identifiers look personal"]),
        (["A1", "B7", "C12"], []),
        (["anna.meier", "jan_smit", "eva-luna"], ["identifiers look personal"]),
        (["AnnaMeier", "JanSmit", "EvaLuna"], ["identifiers look personal"]),
        (["AB", "CD", "EF"], []),
        (["blue fox", "red owl", "sand eel"], []),
    ],
)
def test_given_names_are_no_study_identifiers(tmp_path, identifiers, rules):
    rows = "\n".join(f"{name},{i % 2}" for i, name in enumerate(identifiers))
    trials = read(tmp_path, f"participant,hit\n{rows}\n")
    assert trials.table["participant"].tolist() == identifiers
    assert trials.problems["rule"].tolist() == rules
    assert not any(name in trials.problems.to_string() for name in identifiers)


def test_a_column_mapped_on_purpose_is_read(tmp_path):
    trials = read(tmp_path, "participant,hit,name\np1,1,lob\np2,0,bank\n", columns={"name": "task"})
    assert trials.table["task"].tolist() == ["lob", "bank"]


def test_marks_of_a_workbook_do_not_repeat_personal_cells(tmp_path):
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.append(["participant", "hit", "phone"])
    for i in range(4):
        sheet.append([f"p{i}", i % 2, 1632960000 + i])
    sheet["C3"] = "1632960999"
    book.save(tmp_path / "t.xlsx")
    trials = ml.read_trials(tmp_path / "t.xlsx")
    assert "phone" not in trials.table.columns
    assert "1632960999" not in trials.problems.to_string()
