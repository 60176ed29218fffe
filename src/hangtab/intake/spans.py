"""Patterns that find an amount of money or a date inside a running text."""

from __future__ import annotations

import re

from hangtab.intake.words import currency_codes, currency_names, month_names

_SIGN = rf"(?:(?i:{currency_names().pattern.pattern})|\b(?:{'|'.join(sorted(currency_codes()))})\b)"
# Nothing may follow that would make it another word or number: "1,2OO" is no amount, nor is its "1".
_END = r"(?![.,]?[\w])"
_AMOUNT = r"(?:\d{1,3}(?:[.,' \u00a0\u202f]\d{3})+(?:[.,]\d{1,2})?|\d+(?:[.,]\d{1,3})?)(?:,-|\.-)?"
_SIGNED = rf"(?:{_SIGN}\s?{_AMOUNT}{_END}|{_AMOUNT}\s?{_SIGN})"
SIGNED = re.compile(_SIGNED)
MONEY_SPAN = re.compile(rf"(?:{_SIGNED}|(?<![\w.,]){_AMOUNT}{_END})")
_MONTH = rf"(?:{'|'.join(sorted(map(re.escape, month_names()), key=len, reverse=True))})[a-zéûä]*\.?"
_MONTH_ACCENTS = r"(?:f[ée]v(?:r(?:ier)?)?|ao[uû]t|d[ée]c(?:embre)?|m[äa]rz|j[äa]nner)\.?"
DAY = re.compile(
    r"\d{4}-\d{1,2}-\d{1,2}(?:T\d\d:\d\d(?::\d\d)?(?:Z|[+-]\d\d:?\d\d)?)?"
    r"|\b\d{1,2}[./-]\d{1,2}[./-]\d{2,4}\b"
    rf"|\b\d{{1,2}}(?:\.|st|nd|rd|th|er|e)?\s(?:{_MONTH}|{_MONTH_ACCENTS})\s\d{{4}}\b"
    rf"|\b(?:{_MONTH}|{_MONTH_ACCENTS})\s\d{{1,2}}(?:st|nd|rd|th)?,?\s\d{{4}}\b"
    rf"|\b(?:{_MONTH}|{_MONTH_ACCENTS})\s\d{{4}}\b"
    r"|\b\d{4}-\d{2}\b",
    re.IGNORECASE,
)
