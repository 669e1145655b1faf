"""JSGF rules of spoken numbers and quantities, to be put into generated grammars.

``<number>`` is any number; ``<torque_quantity>``, ``<volume_quantity>`` and so on are numbers with
or without their unit. Everything that these rules accept is understood by ``parse_number`` and
``parse_quantity``. ICAO's 'fife' and 'tree' are understood and not listed: to a recogniser they
are 'five' and 'three', and a second spelling of one sound only divides what it believes.
"""

from __future__ import annotations

from joblog.speech.number_words import TEENS_TABLE, TENS_TABLE, UNITS_TABLE
from joblog.speech.units_spoken import DIMENSIONS, unit_rules

_NUMBERS = f"""\
<zero> = zero | oh;
<one_to_nine> = {" | ".join(UNITS_TABLE)} | niner;
<digit> = <zero> | <one_to_nine>;
<teen> = {" | ".join(TEENS_TABLE)};
<tens> = {" | ".join(TENS_TABLE)};
<two_figures> = <teen> | <tens> [<one_to_nine>];
<under_hundred> = <one_to_nine> | <two_figures>;
<under_sixty> = <one_to_nine> | <teen> | (twenty | thirty | forty | fifty) [<one_to_nine>];
<hundreds> = [a | <one_to_nine>] hundred [[and] <under_hundred>];
<thousands> = [a | <under_hundred> | <hundreds>] thousand [[and] (<under_hundred> | <hundreds>)];
<integer> = <zero> | <under_hundred> | <hundreds> | <thousands>;
<digits> = <digit> <digit> [<digit> [<digit> [<digit> [<digit>]]]];
<groups> = <under_hundred> (<two_figures> | oh <one_to_nine>)
         | <two_figures> <one_to_nine> <two_figures>;
<whole> = <integer> | <digits> | <groups>;
<from_one> = <under_hundred> | <hundreds> | <thousands>
           | <one_to_nine> <digit> [<digit> [<digit>]] | <groups>;
<decimal> = [<zero> | <from_one>] point (<digit> [<digit> [<digit>]] | <two_figures>);
<part> = half | (a | one) (half | third | quarter | eighth | tenth)
       | two thirds | three quarters | (three | five | seven) eighths
       | (two | three | four | five | six | seven | eight | nine) tenths;
<mixed> = <under_hundred> and <part>;
<fraction> = <part> | <mixed>;
<number> = [minus] (<whole> | <decimal>) | <fraction>;
<signed> = [minus] (<whole> | <decimal>);
"""

_SHAPES = {
    "volume": "<number> [<volume_unit>] | (<part> [of] | quarter of | third of) a <volume_unit> "
    "| (a | <under_hundred>) <volume_unit> [and <part>]",
    "time": "<number> [<time_unit>] | (<part> [of] | quarter of) (a | an) <time_unit> "
    "| (a | an | <under_hundred>) <time_unit> [and <part>] "
    "| <under_hundred> (minute | minutes) [and] <under_sixty> (second | seconds) "
    "| (an | <under_hundred>) (hour | hours) [and] <under_sixty> (minute | minutes)",
}


def _quantity_rules() -> str:
    rules = []
    for dimension in DIMENSIONS:
        shape = _SHAPES.get(dimension, f"<number> [<{dimension}_unit>]")
        rules.append(f"<{dimension}_quantity> = {shape};\n")
    return "".join(rules)


JSGF_NUMBER_RULES: str = _NUMBERS + unit_rules() + _quantity_rules()
