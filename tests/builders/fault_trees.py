"""Published fault trees, restated: one gate a line, its name, `any`, `all` or how many it takes, and its inputs.

What is no gate is a basic event. Sources:

- PRESSURE_TANK, PUMPS: US NRC, Fault Tree Handbook, NUREG-0492 (Vesely, Goldberg, Roberts, Haasl 1981), pages VIII-13
  and XI-3 (from memory; both restated after their use in a published OCaml fault-tree library's tests, which give the
  handbook's chances of the first).
- THREE_MOTOR: the three-motor circuit of the same handbook, chapter IX, as in the input "three_motor" of SCRAM, where
  KT1, KT2 and KT3 are house events. LIFT: "lift" of SCRAM's inputs. Both came from OpenFTA's examples.
- VESELY: W. E. Vesely, "A time-dependent methodology for fault tree evaluation", Nuclear Engineering and Design 13
  (1970), figure 1, as restated in PFTA's example of that name.
- CHINESE, BAOBAB_2: the Aralia benchmark, published under CC0 1.0 as openpra-org/generic-openpsa-models,
  `models/Aralia`.
"""

from __future__ import annotations

from coverage_audit.reckoning.fault_tree import Event, Gate, Tree, all_of, any_of


def tree_of(text: str) -> Tree:
    """Return the tree of which the first line is the top."""
    lines = {name: words for name, *words in (line.split() for line in text.strip().splitlines())}
    made: dict[str, Tree] = {}

    def part(name: str) -> Tree:
        if name not in made:
            made[name] = gate(*lines[name]) if name in lines else Event(name=name)
        return made[name]

    def gate(kind: str, *names: str) -> Gate:
        inputs = tuple(part(name) for name in names)
        if kind == "any":
            return any_of(*inputs)
        return all_of(*inputs) if kind == "all" else Gate(at_least=int(kind), inputs=inputs)

    return part(next(iter(lines)))


PRESSURE_TANK = """
TOP any T G2
G2 any G3 K2
G3 all S G4
G4 any S1 G5
G5 any K1 R
"""

PUMPS = """
TOP any P1 G1 S1
G1 any G2 E1
G2 any P2 S2 G3
G3 all G4 G5
G4 any G6 G7
G5 any S3 P3 E3
G6 any S4 P4 E4
G7 any P5 G8 S5
G8 any S6 P6 E6
"""

THREE_MOTOR = """
M1 all M2 M3
M2 any K5 M4
M4 all C1 M6
M6 any T2 K5
M3 any K2 M5
M5 any T1 M8
M8 any K1 M9
M9 any M10 M11
M10 all KT1 KT3 M12
M12 any KT2 T4
M11 any S1 T3
C1 any K1 C2
C2 any C3 C4
C4 any S1 T1inc
C3 all C5 C6 C7
C5 any KT1inc T2inc
C6 any KT2inc T3inc
C7 any KT3inc T4inc
"""

# The three timers' house events are true in the published input: gates without inputs, which all hold.
THREE_MOTOR_TIMERS_HOLD = f"{THREE_MOTOR}KT1 all\nKT2 all\nKT3 all\n"

LIFT = """
LIFT any STARTS_OPEN OPENS_MOVING REFUSES OBSTACLE
STARTS_OPEN any LMD_1 DPD_1 BOTH_1 SLOW
BOTH_1 all DM_1 DPD_1
SLOW any PS_1 HINDERED
HINDERED any DOD_1 D_1
OPENS_MOVING any DMS_2 BOTH_2 BOTH_3
BOTH_2 all UNCOMMANDED MOTION
UNCOMMANDED any W_1 CP_1 DMS_2
MOTION all LMD_1 LMD_1_1
BOTH_3 all CP_1 MOTION
REFUSES any CP_1 LMD_2 LPD_1 MOTOR
MOTOR any DM_1 PS_1
OBSTACLE any DOD_1 DOD_2 DMS_1
"""

VESELY = """
TOP any G1 G2
G1 any G3 G4
G2 any G5 G6
G3 any G7 G8 G9
G4 any G10 G11
G5 any G12 G13 G14
G6 all G15 G3
G7 all 1 2
G8 all 1 3
G9 all 2 3
G10 all 1 2 G16
G11 all G17 G18
G12 all 4 5
G13 all 4 6
G14 all 5 6
G15 any 7 8
G16 any 9 10
G17 any 7 8 9
G18 any G19 G20
G19 all 1 2 3
G20 all 4 5 6
"""

CHINESE = """
r1 all g1 g2
g1 any e1 e2 e3 g3
g2 all g5 g4
g3 all g7 g6
g4 any e4 e5 e6 e7 g8
g5 any e8 g9
g6 any e9 e10 e11 g10
g7 any e12 e13
g8 all g11 g12
g9 all g13 g14
g10 all g16 g15
g11 any e14 e15 e16 g17
g12 all g18 g19
g13 any e1 e2 e3 g20
g14 any e4 e5 e6 e7 g21
g15 any e17 e18
g16 any e19 e20 e21
g17 all g22 g23
g18 any e22 e23
g19 any e24 e25
g20 all g24 g25
g21 all g26 g27
g22 any e17 e18 e21
g23 any e19 e20
g24 any e14 e15 e16 g28
g25 all g29 g30
g26 any e9 e10 e11 g31
g27 any e12 e13
g28 all g32 g33
g29 any e22 e23
g30 any e24 e25
g31 all g34 g35
g32 any e17 e18 e21
g33 any e19 e20
g34 any e19 e20 e21
g35 any e17 e18
"""

BAOBAB_2 = """
r1 3 g3 g4 g5 g1 g2
g1 any e1 g6
g2 any e2 g7
g3 any e3 g8
g4 any e4 g9
g5 any e5 g10
g6 all g11 g12
g7 all g13 g12
g8 all g14 g12
g9 all g15 g12
g10 all g16 g12
g11 any e6 g17
g12 any e11 g18
g13 any e7 g17
g14 any e8 g17
g15 any e9 g17
g16 any e10 g17
g17 2 g20 g19 g21
g18 2 g23 g22 g24
g19 any e12 g25
g20 any e13 g26
g21 any e14 g27
g22 any e15 g25
g23 any e16 g26
g24 any e17 g27
g25 any e18 g28
g26 any e19 g29
g27 any e20 g30
g28 2 g31 g32 g33
g29 2 g35 g34 g36
g30 2 g37 g38 g39
g31 any e22 e21
g32 any e26 e25
g33 any e30 e29
g34 any e22 e23
g35 any e27 e26
g36 any e30 e31
g37 any e24 e22
g38 any e26 e28
g39 any e32 e30
"""
