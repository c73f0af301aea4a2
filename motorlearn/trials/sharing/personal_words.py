"""Words in headings that name people, in English, German, French, Spanish and Dutch.

Accents are taken away and everything is in lower case before a heading is compared.
"""

import re
import unicodedata
from typing import Final


def _words(text: str) -> frozenset[str]:
    return frozenset(text.split())


_NAMES: Final = _words(
    "name names namen surname forename firstname lastname fullname nickname initials username "
    "vorname nachname familienname rufname spitzname initialen nom noms prenom prenoms surnom "
    "nombre nombres apellido apellidos naam namen voornaam achternaam bijnaam"
)
_PEOPLE: Final = _words(
    "participant player athlete child kid student pupil learner parent mother father guardian "
    "coach trainer tester experimenter observer assistant supervisor teacher contact doctor "
    "spieler spielerin athlet athletin kind schuler schulerin eltern mutter vater betreuer "
    "trainerin lehrer lehrerin versuchsleiter versuchsleiterin testleiter arzt proband "
    "probandin teilnehmer teilnehmerin kinder joueur joueuse athlete enfant eleve parent mere pere "
    "tuteur entraineur "
    "entraineuse experimentateur observateur professeur medecin jugador jugadora atleta nino "
    "nina alumno alumna padre madre tutor entrenador entrenadora evaluador evaluadora profesor "
    "profesora medico speler speelster atleet leerling ouder moeder vader voogd begeleider "
    "testleider proefleider docent leraar arts"
)
_BETWEEN: Final = _words(
    "first last full family given middle maiden legal preferred of the s des der die das von "
    "vom du de la le les del van het een und and et y en e o vor nach complete completo "
    "completa primer primero segundo volledige vollstandiger ganzer complet famille familia familie"
)
_TELLING: Final = {
    "dates of birth": "birth birthday birthdate birthyear birthplace born dob geb gebdatum geburt "
    "geburtsdatum geburtstag geburtsjahr geburtsort jahrgang geboren naissance naiss nac "
    "nacimiento nacido nacida cumpleanos geboorte geboortedatum geboortejaar geboorteplaats "
    "verjaardag",
    "e-mail addresses": "mail email mailadresse mailadres emailadresse emailadres courriel correo",
    "telephone numbers": "phone telephone telefon telefonnummer telefono telefoon telefoonnummer "
    "mobile mobil mobiltelefon handy handynummer handynr natel gsm movil celular mobiel whatsapp "
    "telnr telefonnr telefoonnr emergency notfallkontakt notfallnummer urgence emergencia "
    "noodcontact",
    "addresses": "address street postcode zipcode adresse anschrift strasse hausnummer plz "
    "postleitzahl wohnort rue domicile direccion calle domicilio adres straat huisnummer "
    "woonplaats straatnaam postal",
    "official numbers": "passport ssn reisepass personalausweis ausweis ahv dni nie passeport "
    "pasaporte paspoort bsn sozialversicherungsnummer matrikelnummer matricule passnummer "
    "ausweisnummer lizenznummer personalnummer versicherungsnummer",
    "origin or belief": "nationality ethnicity ethnic religion religious staatsangehorigkeit "
    "nationalitat ethnie konfession nationalite nacionalidad etnia nationaliteit godsdienst",
    "signatures": "unterschrift handtekening",
    "notes on health": "medical medication diagnosis diagnoses allergy allergies medizinisch "
    "medizinische medikament medikamente diagnose diagnosen allergie allergien krankheit "
    "krankheiten medicale medicaux medicament diagnostic maladie maladies medica diagnostico "
    "medicacion enfermedad alergia medisch medische medicatie ziekte ziekten injury injuries "
    "disability disabilities verletzung verletzungen vorerkrankung vorerkrankungen gesundheit "
    "behinderung blessure blessures antecedents sante lesion lesiones salud discapacidad "
    "gezondheid beperking",
    "accounts": "instagram facebook snapchat tiktok",
}
_SOMEBODYS: Final = re.compile(r"(?P<who>\w{3,}?)(?:e?s|e?n|innen)?(?:names?|namen|naam)")
_TOLD: Final = {word: kind for kind, words in _TELLING.items() for word in words.split()}


def words_of(heading: str) -> tuple[str, ...]:
    """Words of a heading without accents, in lower case; ``coachName`` has two.

    Examples
    --------
    >>> words_of("Prénom_du-joueur"), words_of("coachName")
    (('prenom', 'du', 'joueur'), ('coach', 'name'))
    """
    apart = re.sub(r"(?<=[a-zß-ÿ])(?=[A-Z])", " ", heading)
    bare = unicodedata.normalize("NFKD", apart.replace("ß", "ss")).casefold()
    plain = "".join(sign for sign in bare if not unicodedata.combining(sign))
    return tuple(re.findall(r"[^\W\d_]+", plain))


def told_by_heading(heading: str) -> str:
    """What a heading says its column holds about a person; empty where it says nothing.

    Examples
    --------
    >>> told_by_heading("coach_name"), told_by_heading("Geburtsdatum"), told_by_heading("task name")
    ('names', 'dates of birth', '')
    """
    words = words_of(heading)
    if any(_is_somebodys_name(word) for word in words):
        return "names"
    found = next((_TOLD[word] for word in words if word in _TOLD), "")
    if not found and any(word in _NAMES for word in words):
        known = all(word in _NAMES | _PEOPLE | _BETWEEN for word in words)
        return "names" if known else ""
    return found


def _is_somebodys_name(word: str) -> bool:
    """Whether a word is put together of a person and a name, as German and Dutch do."""
    found = _SOMEBODYS.fullmatch(word)
    return found is not None and bool({found["who"], found["who"] + "in"} & _PEOPLE)


def names_a_role(heading: str) -> bool:
    """Whether a heading is somebody's role, so that names may stand beneath."""
    words = words_of(heading)
    return any(word in _PEOPLE for word in words) and all(w in _PEOPLE | _BETWEEN for w in words)
