"""What is never kept: the passcode of a device. A text that looks like one is refused, and not repeated anywhere."""

from __future__ import annotations

import functools
import re
import unicodedata
from collections.abc import Iterable, Iterator, Mapping

from msgspec import Struct

from wakerail_kit.errors import ConfigInvalid

_QUOTES = r"""\s"'“”‘’(>-"""
_SAYS = rf"(?:[:=]|\b(?:is|was|are|will\s+be|as|reads|set\s+to|now|to\s+unlock|for\s+it|on\s+it)\b)[{_QUOTES}]*"
#: What stands between a word for a secret and its value: ``of her device:``, ``is``, a blank.
_LINK = rf"(?:\s+(?:of|for|to|on)(?:\s+\w+){{1,4}}?\s*{_SAYS}|[{_QUOTES}]*(?:{_SAYS})*)"
#: Words that name a secret and hardly anything else; any value may follow. The last ones mean other things as well.
_SECRET = "(?:" + "|".join((
    r"pass\s?-?(?:codes?|words?|phrases?)",
    r"(?:un)?lock(?:ing|\s?-?\s?screen)?\s?-?(?:codes?|patterns?)",
    r"(?:screen\s?-?\s?lock|swipe|draw)\s?-?\s?(?:codes?|patterns?)",
    r"pin\s?-?codes?",
    r"(?:access|log-?in|security|entry)\s?-?\s?codes?",
    r"pattern\s?-?locks?",
    r"credentials?",
    rf"(?:passwd|pwd?)(?=\s*{_SAYS})",
)) + ")"  # fmt: skip
#: The same in other languages. Their value follows behind a sign or a verb, or as figures.
_ELSEWHERE = "(?:" + "|".join((
    r"(?:pass|kenn|code)w(?:ort|örter)e?s?|(?:ent)?sperr-?(?:code|muster|pin)|zugangscode|geheimzahl|freischaltcode",
    r"wachtwoord(?:en)?|(?:toegangs|ontgrendel)code|lösenord(?:et)?|kodeord(?:et)?|adgangskode[nr]?|passord(?:et)?|salasana",
    r"mots?\s+de\s+passe|codes?\s+(?:de\s+d[eé]verrouillage|d'acc[eè]s|secret|pin)|sch[eé]ma\s+de\s+d[eé]verrouillage",
    r"contrase[nñ]as?|c[oó]digos?\s+(?:de\s+(?:desbloqueo|desbloqueio|acceso|acesso)|pin)|patr[oó]n\s+de\s+desbloqueo",
    r"palavras?-?\s?passe|senhas?|padr[aã]o\s+de\s+desbloqueio|parola\s+d'ordine|codic[ei]\s+(?:di\s+sblocco|pin)",
    r"has[lł]o|kod\s+(?:odblokowania|dost[eę]pu)|heslo|jelsz[oó]|parol[aă]|lozinka|geslo|[sş]ifre(?:si)?|пароль|код\s+доступа",
    r"密码|密碼|口令|暗証番号|パスワード|パスコード|비밀번호|암호|كلمة\s+(?:السر|المرور)|סיסמה|पासवर्ड",
)) + ")"  # fmt: skip
_MEANS = r"(?:is|ist|lautet|war|est|es|è|é|jest|är|er|este|=|:|：|は|是|为)"
_NO_UNIT = r"(?-i:(?!\s?(?:[munkMµ]?[VAWΩs]|[kM]?Ohm|[kMG]?Hz|°C|min|mm|mAh)\b))"  # else it was measured
#: Three figures or more in words, four or more as figures, perhaps apart (``12 34``, ``1-2-5-8``).
_IN_WORDS = r"(?:(?:zero|one|two|three|four|five|six|seven|eight|nine)\b[\s,.-]*){3,}"
_FIGURES = rf"(?:\d(?:[\s.,>/-]{{0,3}}\d){{3,}}\b{_NO_UNIT}|{_IN_WORDS})"
#: The same, but not the numbers of a connector's pins (``pin 24 25 26``, ``pin number 12``).
_PIN_FIGURES = rf"(?:\d{{4,}}{_NO_UNIT}|\d(?:[\s.,>/-]{{1,3}}\d\b){{3,}}|\d{{3}}[\s-]\d{{3}}\b|{_IN_WORDS})"
_PIN = r"\b(?:pin|puk)(?:\s?-?(?:numbers?|no\.?))?(?:\b|(?=\d))"
_THEN, _WHOSE = r"[\s)\"'“”‘’,]*", r"(?:the|his|her|their|an?|my)"
#: Figures before the word; but not a date, as cameras name their files by it, unless it is said to be one.
_FIRST = r"\b(?!20[2-9]\d[01]\d[0-3]\d\b(?![\s)\"'“”‘’,]*(?:is|=|as)\b))\d{4,8}\b"
_SHAPED = r"(?:the\s+)?(?:letter\s+[a-z]\b|[a-z]\s?-\s?shaped?)"
_LETTER = rf"(?:{_SHAPED}|(?:an?\s+)?[a-z]\b(?:\s?-?shaped?)?[\s.,;!]*$)"
_PLACE = r"\b(?:top|bottom|upper|lower|left|right|middle|cent(?:er|re)|corner|up|down)\b"
_TOLD = "|".join((
    rf"{_PIN}{_LINK}{_PIN_FIGURES}",
    rf"{_PIN}\s*{_SAYS}{_FIGURES}",
    rf"\bpattern\b{_LINK}(?:{_FIGURES}|{_LETTER})",
    rf"\bpattern\b\s*{_SAYS}(?:from\s+)?{_PLACE}",
    rf"\bpattern\b.{{0,30}}?{_PLACE}[^.;]{{0,15}}?(?:\bto\b|\bthen\b|,|>)[^.;]{{0,15}}?{_PLACE}",
    rf"\bunlock(?:s|ed|ing)?(?:\s+|\b[^.;\n]{{0,40}}?(?:\b(?:with|by|using|code|is|to)\b|[:=]){_LINK}){_FIGURES}",
    rf"\b(?:screen\s?-?lock|lock\s?-?screen)\b{_LINK}{_FIGURES}",
    rf"(?:\b(?:the|its|his|her|their|my|customer's|phone)\s+|^\s*|[.,;!?]\s*)code\b{_LINK}{_FIGURES}",
    rf"{_FIRST}{_THEN}(?:(?:is|=|as|-)\s*)?\(?\s*(?:{_WHOSE}\s+)?{_SECRET}\b",
    rf"{_FIRST}{_THEN}(?:(?:is|=|as)\s*\(?\s*(?:{_WHOSE}\s+)?|\(\s*|{_WHOSE}\s+){_PIN}(?!\s*\d)",
    rf"{_FIRST}[\s-]*{_PIN}(?=\s*(?:[.,;:!)]|$))",
    r"\b\d{4,8}\s+(?:to\s+unlock|unlocks|opens\s+(?:it|the\s+(?:phone|device|screen|terminal)))\b",
    rf"\b(?:enter|key\s+in|logs?\s?-?in\s+with|gets?\s+in\s+with)\s+{_FIGURES}",
    rf"{_ELSEWHERE}(?:\w*\s+){{0,4}}?[{_QUOTES}]*(?:{_MEANS}[{_QUOTES}]*)?{_FIGURES}",
))  # fmt: skip
_VALUE = r"(?P<value>[^\s\"'“”‘’()]+)?"
_NAMED = rf"\b{_SECRET}(?:\b|(?=\d)){_LINK}{_VALUE}"
_NAMED_ELSEWHERE = rf"{_ELSEWHERE}[{_QUOTES}]*{_MEANS}[{_QUOTES}]*{_VALUE}"
_WORD = re.compile(r"[^\W\d_]+")
_BLANKS = re.compile(r"(\s)\s+")
_PROSE = """
a about absent after all an and any are ask asked asking at back because been before being blank but by called cannot
changed changes cleared comes confirmed customer customers did disabled dialog do does doesn done during empty enabled
enter entered entering entry every except expired fails field first for forgot forgotten from given gone handed has have
he held her hidden his if in input into is it its kept keypad known later left length lock locked lockout lost manager
may missing must my n needed na never new no nobody none not noted nothing of off on once only or our out owner page pad
policy present private prompt protected protection protects provided recovery refused remains remembered removed request
requested required reset retained returned said screen see seems set shall she should shown so stays still stored that
the their them then there they this to too tried tries try typed unknown unneeded until unset us used user via was we
were when which will with withheld without works would written wrong yes yet you your
unbekannt vergessen nicht kein keines beim bei geschützt erforderlich falsch entfernt inconnu oublié non aucun perdu pas
desconocida desconocido olvidada olvidado ninguna ninguno no sconosciuta sconosciuto dimenticata nessuna desconhecida
esquecida nenhuma onbekend vergeten geen niet nieznane brak okänt inget ukendt ingen
"""
#: What may follow without being the value: a text that speaks about a passcode and does not tell it.
_HARMLESS = frozenset(_PROSE.split())


def looks_like_passcode(text: str) -> bool:
    """Tell whether a text seems to tell a passcode, password, PIN or unlock pattern.

    It errs towards yes: to word a note anew costs less than a stored passcode. ``pin 3`` of a connector is none. It
    knows the words of English best, and the word for a password in some twenty other languages.
    """
    plain = unicodedata.normalize("NFKC", text)
    return any(_tells(one) for one in {plain, plain.replace("_", " ")})  # names of files have no blanks


def _tells(plain: str) -> bool:
    plain = _BLANKS.sub(r"\1", plain)  # a run of blanks can be shared out among the patterns in too many ways to try
    if _compiled(_TOLD).search(plain):
        return True
    named = (_NAMED, _NAMED_ELSEWHERE)
    return any(_is_value(found["value"]) for pattern in named for found in _compiled(pattern).finditer(plain))


def refuse_passcodes(**texts: str) -> None:
    """Raise ConfigInvalid if one of the texts, by what it is called, looks like a passcode; it is not repeated."""
    _refuse(texts.items())


def refuse_passcodes_in(request: object) -> None:
    """Raise ConfigInvalid if any text anywhere in a request looks like a passcode; it is not repeated."""
    _refuse(texts_in(request))


def texts_in(value: object, name: str = "") -> Iterator[tuple[str, str]]:
    """Yield every text in a request, each with the name of the field that it is in.

    Texts are those of structs, mappings and lists, whatever they are for, and the keys of mappings; bytes are none.
    """
    if isinstance(value, str):
        yield name, value
    elif isinstance(value, Struct):
        for field in value.__struct_fields__:
            yield from texts_in(getattr(value, field), field)
    elif isinstance(value, Mapping):
        for key, one in value.items():
            yield name, str(key)
            yield from texts_in(one, name or str(key))
    elif isinstance(value, list | tuple):
        for one in value:
            yield from texts_in(one, name)


def _refuse(texts: Iterable[tuple[str, str]]) -> None:
    for name, text in texts:
        if looks_like_passcode(text):
            raise ConfigInvalid(
                f"{name.replace('_', ' ') or 'the text'}: it looks like a passcode, and none is ever kept here; "
                "leave it out, or write that the customer unlocks the device"
            )


@functools.cache
def _compiled(pattern: str) -> re.Pattern[str]:
    """Return a pattern made ready when it is first needed; the daemon is to start soon."""
    return re.compile(pattern, re.IGNORECASE)


def _is_value(follows: str | None) -> bool:
    """Tell whether what follows a word for a secret is its value, rather than prose about it."""
    bare = (follows or "").strip(".,;:!?-_")
    if not bare:
        return False
    first = _WORD.match(bare)
    return first is None or first[0].lower() not in _HARMLESS or any(sign.isdigit() for sign in bare)
