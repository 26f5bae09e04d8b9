"""The order study: in which order the steps of a tree cost a case the fewest minutes.

A *run* is a chain of steps that can change places. To scheduling it is a single machine: step j is
a *job* of p(j) minutes, whose *weight* w(j) is the probability that the cause is found behind its
other answers. Whoever still has a cause to find waits while a job is done, so an order costs the
sum of w(j) · C(j), where C(j) is the time at which j is done. Were there nothing else, the jobs by
w / p, descending, would be best (Smith 1956; for sequences of tests with precedence Garey 1973).
There is more: a job is done under cautions, which take minutes when they are not in force yet (a
*set-up*), stay in force, and lapse when a job runs the machine; some jobs come `after` others; a
route may have a cap on its lockouts. Jobs under the same cautions form *families*, as in the family
set-ups of Monma and Potts (1989): where a caution may be taken early, each family keeps the order
of w / p. The search solves that *relaxation*; its optimum is a lower bound on every real order, so
an order that costs no more is proved best, and any other is known to be within the *gap*.

Sources, all from memory: W. E. Smith, Naval Research Logistics Quarterly 3, 1956; M. R. Garey,
Discrete Mathematics 4, 1973; C. L. Monma and C. N. Potts, Operations Research 37, 1989.

Examples:
    Look under the machine, 1 minute and 60 of 100 causes, or beside it, 4 minutes and 30 of 100?
    With a lockout of m minutes, under it first costs 1 · (m + 1) + 0.4 · 4, beside it first
    1 · 4 + 0.7 · (m + 1): the lockout is worth its minutes up to m = 7.

    >>> from diagnose.files.definitions import CAUTIONS
    >>> from diagnose.files.reading import read_text, read_tree
    >>> from diagnose.study.in_force import caution_table
    >>> from diagnose.study.order.study import order_study
    >>> tree, _ = read_tree('''
    ... format: 1
    ... symptom: sample
    ... title: It leaves lines
    ... start: under
    ... steps:
    ...   under: {ask: Bent?, cautions: [lockout], answers: {It is: bent, It is not: beside}}
    ...   beside: {ask: Loose?, minutes: 4, passes: It is not,
    ...     answers: {It is: loose, It is not: floor}}
    ...   bent: {finding: The arm is bent, chance: 60, who: operator, remedy: Straighten it.}
    ...   loose: {finding: The knob is loose, chance: 30, who: operator, remedy: Turn it.}
    ...   floor: {finding: The floor is rough, chance: 10, who: operator, remedy: None.}
    ... ''', 'sample.yaml')
    >>> cautions, _ = read_text(CAUTIONS, '''
    ... format: 1
    ... hazards: {}
    ... cautions:
    ...   lockout: {title: Dead, signal: WARNING, signs: [M021], lapses: when energised,
    ...     text: Make it dead., confirm: [Connector apart.], release: [Tag off.]}
    ... ''', 'cautions.yaml')
    >>> for m in (1, 20):
    ...     study = order_study(tree, caution_table(cautions, {'lockout': m}))
    ...     run, = study.runs
    ...     print(run.best, f'{study.now.minutes:.1f}, at best {study.best.minutes:.1f}', run.exact)
    ('under', 'beside') 3.6, at best 3.6 True
    ('beside', 'under') 22.6, at best 18.7 True
"""
