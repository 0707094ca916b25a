"""The method by which both kernels step: a Rosenbrock method of order three, its coefficients.

With J the Jacobian, f the rates, h the step and y the state, the stages U are

    (1/(γh) − J) U₁ = f(y)
    (1/(γh) − J) U₂ = f(y + U₁) + (C21/h) U₁
    (1/(γh) − J) U₃ = f(y + U₁) + (C31/h) U₁ + (C32/h) U₂

and the step goes to y + Σ M U, its error is Σ E U: one factorisation, two looks at the rates, three solves.
L-stable, so that a surface or a cell that is not yet consistent is so a step later; the method that gives the
error is of order two. Whatever the step, water is conserved to rounding, for the method keeps linear
invariants.

Source: ROS3 of Sandu, Verwer, Blom, Spee, Carmichael and Potra, "Benchmarking stiff ODE solvers for
atmospheric chemistry problems II: Rosenbrock solvers", Atmospheric Environment 31 (1997) 3459. The figures
are from memory; the tests hold them to the conditions of order three and to L-stability.
"""

GAMMA = 0.43586652150845899941601945119356
"""The root of γ³ − 3γ² + 3γ/2 − 1/6 that is between 1/3 and 1/2."""

C21 = -1.0156171083877702091975600115545
C31, C32 = 4.0759956452537699824805835358067, 9.2076794298330791242156818474003
M1, M2, M3 = 1.0, 6.1697947043828245592553615689730, -0.4277225654321857332623837380651
E1, E2, E3 = 0.5, -2.9079558716805469821718236208017, 0.2235406989781156962736090927619

ERROR_POWER = 1.0 / 3.0
"""A step's error grows with its cube."""
