"""Every source of the course, once, and how well it is known.

A docstring names its sources by key ("Source: `iso-13443`."), and so does every outside value of the tests.
Nothing here replaces the code in force at a site: buy and read the edition that binds you.
"""

from __future__ import annotations

from dataclasses import dataclass

from toolkit.errors import CourseError

HOW_KNOWN = ("read", "read in a reproduction", "computed", "from memory", "common practice, no source")
KINDS = ("regulation", "code", "standard", "report", "book", "paper", "data", "library", "practice")


@dataclass(frozen=True)
class Source:
    """One source: its key, its kind (of `KINDS`), the citation, the section used, how it is known (of `HOW_KNOWN`).

    "read": in the source itself; "read in a reproduction": as printed or programmed by another; "computed": a
    reference library or a worked calculation gave the numbers.
    """

    key: str
    kind: str
    citation: str
    section: str
    how_known: str


_READ, _REPRODUCED, _COMPUTED, _MEMORY, _PRACTICE = HOW_KNOWN
_PART_192 = "Title 49 Code of Federal Regulations Part 192, Transportation of natural and other gas by pipeline"
_FUEL_GAS_CODE = "International Fuel Gas Code, 2018 edition"

_ALL = (
    Source("cfr-192-3", "regulation", _PART_192, "192.3, definitions", _READ),
    Source("cfr-192-181", "regulation", _PART_192, "192.181(b), inlet valve of a regulator station", _READ),
    Source("cfr-192-195", "regulation", _PART_192, "192.195, protection against accidental overpressuring", _READ),
    Source("cfr-192-197", "regulation", _PART_192, "192.197, pressure delivered from high-pressure systems", _READ),
    Source("cfr-192-199", "regulation", _PART_192, "192.199, design of relief and limiting devices", _READ),
    Source("cfr-192-201", "regulation", _PART_192, "192.201, required capacity of relief and limiting stations", _READ),
    Source("cfr-192-203", "regulation", _PART_192, "192.203, instrument, control and sampling pipe", _READ),
    Source("cfr-192-355", "regulation", _PART_192, "192.355, customer meters and regulators", _READ),
    Source("cfr-192-739", "regulation", _PART_192, "192.739, inspection and testing of stations", _READ),
    Source("cfr-192-741", "regulation", _PART_192, "192.741, telemetering or recording gauges", _READ),
    Source("cfr-192-743", "regulation", _PART_192, "192.743, capacity of relief devices", _READ),
    Source("cfr-192-803", "regulation", _PART_192, "192.803 and 192.807, qualification and its records", _READ),
    Source("phmsa-pi-71-082", "regulation", "PHMSA interpretation PI-71-082", "worker and monitor", _READ),
    Source("phmsa-73-fr-12796", "report", "PHMSA advisory, 73 Federal Register 12796", "ice over vents", _REPRODUCED),
    Source("pa-59-29", "regulation", "52 Pennsylvania Code 59.29", "delivery pressure", _READ),
    Source("wis-psc-135-197", "regulation", "Wisconsin PSC 135.197", "build-up of a service regulator", _READ),
    Source("ifgc-410-2", "code", _FUEL_GAS_CODE, "410.2, medium-pressure regulators", _READ),
    Source("ifgc-416", "code", _FUEL_GAS_CODE + "; NFPA 54", "416; NFPA 54 5.9, overpressure protection", _MEMORY),
    Source("ifgc-416-2-5", "code", _FUEL_GAS_CODE, "416.2.5, relief valves as protection", _READ),
    Source("ifgc-tables", "code", _FUEL_GAS_CODE, "tables 402.4(3), (4), (6), (25), (26) and (28)", _READ),
    Source(
        "ifgc-equations",
        "code",
        _FUEL_GAS_CODE,
        "402.4, equations 4-1 and 4-2 with Cr and Y; they give the tables",
        _MEMORY,
    ),
    Source("ifgc-appendix-a", "code", _FUEL_GAS_CODE, "appendix A, sizing of gas piping", _READ),
    Source("ul-144", "standard", "UL 144, LP-gas regulators", "type I and type II relief", _REPRODUCED),
    Source(
        "api-520-1",
        "standard",
        "API Standard 520 part I, Sizing, selection and installation of pressure-relieving devices",
        "gas and vapour, critical and subcritical; examples 1 and 2",
        _REPRODUCED,
    ),
    Source("api-526", "standard", "API Standard 526, Flanged steel pressure-relief valves", "orifices", _REPRODUCED),
    Source("iso-4126-1", "standard", "ISO 4126-1, Safety valves", "discharge capacity of gas", _MEMORY),
    Source(
        "iec-60534-2-1",
        "standard",
        "IEC 60534-2-1, Industrial-process control valves: sizing equations under installed conditions",
        "compressible fluids; constants N1 and N6; example 3",
        _REPRODUCED,
    ),
    Source("en-334", "standard", "EN 334, Gas pressure regulators", "accuracy and lock-up classes", _MEMORY),
    Source("en-14382", "standard", "EN 14382, Gas safety shut-off devices", "accuracy groups, response", _MEMORY),
    Source("en-12007-1", "standard", "EN 12007-1, Gas infrastructure", "MOP, TOP, MIP", _REPRODUCED),
    Source("iso-13443", "standard", "ISO 13443, Natural gas: standard reference conditions", "clause 3", _MEMORY),
    Source(
        "iso-6976", "standard", "ISO 6976:1995, Natural gas: calculation of calorific values", "air; propane", _MEMORY
    ),
    Source("icao-7488", "standard", "ICAO Doc 7488, Manual of the standard atmosphere", "constants", _REPRODUCED),
    Source("us-atmosphere-1976", "standard", "U.S. Standard Atmosphere, 1976", "table by altitude", _REPRODUCED),
    Source(
        "nist-sp-811",
        "standard",
        "NIST Special Publication 811, Guide for the use of the SI",
        "appendix B",
        _REPRODUCED,
    ),
    Source("si-brochure", "standard", "BIPM, The International System of Units, 9th edition", "2.2", _MEMORY),
    Source(
        "smith-van-ness-abbott",
        "book",
        "Smith, Van Ness and Abbott, Introduction to Chemical Engineering Thermodynamics",
        "generalised second virial coefficient; example of n-butane; appendix B",
        _REPRODUCED,
    ),
    Source(
        "pitzer-acentric",
        "paper",
        "Pitzer, Lippmann, Curl, Huggins and Petersen 1955, J. Am. Chem. Soc. 77:3433",
        "definition of the acentric factor",
        _MEMORY,
    ),
    Source(
        "verwer-1999",
        "paper",
        "Verwer, Spee, Blom and Hundsdorfer 1999, SIAM J. Sci. Comput. 20:1456",
        "the two-stage method, both gammas",
        _MEMORY,
    ),
    Source("kendall-1938", "paper", "Kendall 1938, Biometrika 30:81", "rank correlation tau", _REPRODUCED),
    Source(
        "latimier-2021",
        "paper",
        "Latimier, Peyre and Ramus 2021, Educational Psychology Review 33:959",
        "spaced retrieval, equal and growing gaps",
        _MEMORY,
    ),
    Source(
        *("crouch-mazur-2001", "paper", "Crouch and Mazur 2001, American Journal of Physics 69:970"),
        *("vote, talk it over, vote again", _MEMORY),
    ),
    Source(
        *("de-kleer-williams-1987", "paper", "de Kleer and Williams 1987, Artificial Intelligence 32:97"),
        *("the next measurement", _MEMORY),
    ),
    Source(
        *("heckerman-1995", "paper", "Heckerman, Breese and Rommelse 1995, Communications of the ACM 38(3):49"),
        *("troubleshooting by decision theory", _MEMORY),
    ),
    Source(
        *("aitchison-aitken-1976", "paper", "Aitchison and Aitken 1976, Biometrika 63:413"),
        *("kernels for discrete readings", _REPRODUCED),
    ),
    Source("quinlan-1986", "paper", "Quinlan 1986, Machine Learning 1:81", "information gain, example", _REPRODUCED),
    Source(
        *("naeini-2015", "paper", "Naeini, Cooper and Hauskrecht 2015, AAAI"),
        *("expected calibration error", _REPRODUCED),
    ),
    Source("brier-1950", "paper", "Brier 1950, Monthly Weather Review 78:1", "the quadratic score", _REPRODUCED),
    Source("white-fluid-mechanics", "book", "White, Fluid Mechanics", "isentropic flow through a nozzle", _MEMORY),
    Source(
        "coolprop",
        "library",
        "Bell, Wronski, Quoilin and Lemort 2014, Ind. Eng. Chem. Res. 53:2498",
        "CoolProp",
        _COMPUTED,
    ),
    Source("fluids", "library", "Bell and contributors, fluids, a library of fluid dynamics", "as imported", _COMPUTED),
    Source("pint", "library", "The pint library's own registry of units", "as imported", _COMPUTED),
    Source(
        "eia-heat-content", "data", "U.S. Energy Information Administration", "heat content of natural gas", _REPRODUCED
    ),
    Source("propane-heat-content", "data", "Trade figure of 2 516 Btu a cubic foot of propane", "", _REPRODUCED),
    Source("flammable-limits", "data", "Trade figures of flammable limits in air", "natural gas, propane", _REPRODUCED),
    Source("ntsb-par-19-02", "report", "NTSB/PAR-19/02, Merrimack Valley 2018", "abstract and findings", _READ),
    Source(
        "ntsb-par-19-01", "report", "NTSB/PAR-19/01", "indoor regulator with its vent line unconnected", _REPRODUCED
    ),
    Source("fairport-harbor-2011", "report", "Overpressure at Fairport Harbor, 2011", "", _REPRODUCED),
    Source(
        "el-golli-rami-2007",
        "paper",
        "El Golli Rami and others 2007, Int. J. Pressure Vessels and Piping 84:234",
        "abstract",
        _READ,
    ),
    Source("zafer-luecke-2008", "paper", "Zafer and Luecke 2008, Appl. Math. Modelling 32:61", "abstract", _READ),
    Source("wuensch-kr20", "data", "Wuensch, StatHelp", "KR-20", _READ),
    Source("brown-point-biserial", "paper", "Brown, JALT testing newsletter", "point-biserial correlation", _READ),
    Source(
        *("pingouin", "library", "Vallat and contributors, pingouin, statistics in Python"),
        *("cronbach_alpha, printed examples", _READ),
    ),
    Source("wilson-1927", "paper", "Wilson 1927, J. Am. Stat. Assoc. 22:209", "interval of a share", _REPRODUCED),
    Source("newcombe-1998", "paper", "Newcombe 1998, Statistics in Medicine 17:857", "table of examples", _REPRODUCED),
    Source("fisher-1921", "paper", "Fisher 1921, Metron 1:3", "interval of a correlation by its z", _REPRODUCED),
    Source("fisher-z-example", "data", "Statology, Fisher z-transformation", "worked example", _READ),
    Source(
        *("feldt-1965", "paper", "Feldt 1965, Psychometrika 30:357; Feldt, Woodruff and Salih 1987"),
        *("interval of KR-20; formulas 6 and 7 of 1987", _REPRODUCED),
    ),
    Source("dlmf-8-17", "data", "NIST Digital Library of Mathematical Functions", "8.17, incomplete beta", _MEMORY),
    Source(
        *("xapi-1-0-3", "standard", "Advanced Distributed Learning, Experience API 1.0.3, part two"),
        *("2.4, statement properties", _READ),
    ),
    Source(
        *("adl-vocabulary", "standard", "Advanced Distributed Learning, ADL vocabulary of the Experience API"),
        *("verb answered; activity types question and lesson", _READ),
    ),
    Source(
        *("qti-3", "standard", "1EdTech, Question and Test Interoperability 3.0"),
        *("example items of choice, order and text entry; schema imsqti_asiv3p0_v1p0, read in a copy", _READ),
    ),
    Source("gardner-medwin", "paper", "Gardner-Medwin", "certainty-based marking", _READ),
    Source("russell-norvig", "book", "Russell and Norvig, Artificial Intelligence", "burglary alarm", _REPRODUCED),
    Source(
        *("yudkowsky-bayes", "paper", "Yudkowsky, An intuitive explanation of Bayes' theorem"),
        *("screening for breast cancer", _REPRODUCED),
    ),
    Source("doubts-bolts", "data", "Doubts, worked problems in probability", "bolts of three machines", _READ),
    Source(
        *("complexity-explorer", "data", "Complexity Explorer, Introduction to information theory"),
        *("4.1, quiz solutions", _READ),
    ),
    Source(
        *("hollander-wolfe-1973", "book", "Hollander and Wolfe 1973, Nonparametric Statistical Methods"),
        *("p. 187, tuna, as worked by R's cor.test", _REPRODUCED),
    ),
    Source("induwara-ece", "data", "Induwara, expected calibration error", "preset, table by bins", _READ),
    Source(
        "practice-internal-relief",
        "practice",
        "An internal relief begins to open some 9 in. w.c. above a set point of 7 in. w.c.",
        "",
        _PRACTICE,
    ),
    Source("cfr-192-143", "regulation", _PART_192, "192.143(a), what a component must withstand", _REPRODUCED),
    Source("phmsa-pi-92-052", "regulation", "PHMSA interpretation PI-92-052", "how an interval is counted", _READ),
    Source(
        "naca-1135",
        "report",
        "NACA Report 1135, Equations, tables and charts for compressible flow",
        "table I, subsonic flow",
        _REPRODUCED,
    ),
    Source(
        "aeronautical-data-book",
        "book",
        "Matthews, Aeronautical Engineer's Data Book",
        "2.3.4, pressure; table A4.1, subsonic isentropic flow",
        _READ,
    ),
    Source(
        "cengel-fluid-mechanics",
        "book",
        "Cengel and Cimbala, Fluid Mechanics: fundamentals and applications",
        "examples 12-4 and 12-5; their data read in a reproduction",
        _MEMORY,
    ),
    Source(
        "choked-flow-ratios",
        "data",
        "Encyclopedia table of least pressure ratios for choked flow, heat ratios of Perry's handbook, 6th edition",
        "table 1",
        _REPRODUCED,
    ),
    Source(
        "asme-viii-1-appendix-11",
        "code",
        "ASME Boiler and Pressure Vessel Code, section VIII division 1, 1998",
        "appendix 11, capacity conversions for safety valves",
        _REPRODUCED,
    ),
    Source(
        "un-portable-tanks",
        "regulation",
        "United Nations Recommendations on the transport of dangerous goods; 49 CFR 178.275",
        "6.7.2.12, table of the constant C",
        _MEMORY,
    ),
    Source(
        "gpa-2145-16",
        "standard",
        "GPA Midstream Standard 2145-16, Physical properties for the natural gas industry",
        "methane and propane at 60 degF and 14.696 psia",
        _REPRODUCED,
    ),
    Source(
        "cfr-40-98-323",
        "regulation",
        "Title 40 Code of Federal Regulations Part 98, Mandatory greenhouse gas reporting",
        "98.323, equation FF-1",
        _REPRODUCED,
    ),
    Source(
        "cfr-40-98-table-c-1",
        "regulation",
        "Title 40 Code of Federal Regulations Part 98, Mandatory greenhouse gas reporting",
        "table C-1, default high heat values",
        _REPRODUCED,
    ),
    Source(
        "usc-15-717z",
        "regulation",
        "Title 15 United States Code, chapter 15B, Natural gas",
        "717z(h)(4), what an Mcf is",
        _REPRODUCED,
    ),
    Source(
        "cfr-40-1065-640",
        "regulation",
        "Title 40 Code of Federal Regulations Part 1065, Engine-testing procedures",
        "1065.640(a), example 1",
        _REPRODUCED,
    ),
    Source(
        "eia-btu", "data", "U.S. Energy Information Administration, Energy explained", "Btu conversion factors", _READ
    ),
    Source(
        "can-cga-b149-2",
        "code",
        "CAN/CGA-B149.2-M95, Propane installation code",
        "properties of commercial propane",
        _REPRODUCED,
    ),
    Source(
        "lp-gas-properties",
        "data",
        "Trade table of approximate properties of LP-gases",
        "commercial propane",
        _REPRODUCED,
    ),
    Source(
        "ifgc-tubing-tables",
        "code",
        _FUEL_GAS_CODE,
        "tables 402.4(12) to (14), (20) to (22), (27), (29) to (31), (35) and (36)",
        _READ,
    ),
)

SOURCES = {source.key: source for source in _ALL}


def cite(key: str) -> str:
    """The citation of a source for a reader, with how well it is known. Raises CourseError on an unknown key."""
    try:
        source = SOURCES[key]
    except KeyError:
        raise CourseError(
            f"The source {key!r} was asked for; a key of references.SOURCES was expected. Add the source there first."
        ) from None
    where = f", {source.section}" if source.section else ""
    return f"{source.citation}{where} ({source.how_known})"
