"""Public copies of the sources, where a stranger can read what a row expects.

Words that say what is printed there, and the address. Standards and papers are not free; a copy
that prints one value or formula of them is better than none, and no better than whoever typed it.
"""

from __future__ import annotations

from weldsim.validation.rows import Links

GENERAL = (
    "https://github.com/precise-simulation/featool-multiphysics/blob/"
    "2223243105704e2d5986d3e9ed53d450f317d2a6/examples/"
)
NAFEMS: Links = (
    ("T2: 926.97 K, in an example of a general program", GENERAL + "ex_heattransfer2.m"),
    ("T3: 36.6 °C, in the manual of MOOSE", "https://mooseframework.inl.gov/releases/moose/"
     "2022-06-10/modules/heat_conduction/nafems_t3_verif.html"),
    ("T4: 18.3 °C, in an example of a general program", GENERAL + "ex_heattransfer4.m"),
)  # fmt: skip
BEAMS: Links = (
    ("3.0e-5, 0.1081 and 0.4321, in a manual of verification",
     "https://www.wnwk.com/doc/3632378.html"),
)  # fmt: skip
STRAIN_PATH: Links = (
    ("metal and first strain of the path, in CoFEA",
     "https://github.com/dantelimac/CoFEA/tree/"
     "e26f2a5151019e5e02fd8bb68d8e1c41d5aebfc9/benchmarks/06-plastic-strain-test"),
)  # fmt: skip
T85: Links = (
    ("both formulas, under a calculator of cooling times",
     "https://welding.ezvirtualtools.com/calc/cct-diagram-calc.html"),
)  # fmt: skip
STEEL: Links = (
    ("specific heat of carbon steel, 3.4.1.2, in fsetools",
     "https://github.com/fsepy/fsetools/blob/"
     "1742f4a13f09a78b3df2fb30ef0ef6c5f6f99685/fsetools/lib/"
     "fse_bs_en_1993_1_2_heat_transfer.py"),
)  # fmt: skip
TRACKS: Links = (
    ("the paper at NIST", "https://tsapps.nist.gov/publication/get_pdf.cfm?pub_id=927485"),
    ("the conditions at NIST", "https://www.nist.gov/ambench/amb2018-02-description"),
)
BRIDGE: Links = (
    ("how it was measured, and the free end, at NIST",
     "https://www.nist.gov/ambench/chal-amb2018-01-pd"),
)  # fmt: skip
BLOCK: Links = (
    ("the data", "https://github.com/SRP-AM/SRP_AM_Prediction_Challenge"),
)  # fmt: skip
