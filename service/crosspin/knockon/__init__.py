"""From an ask to a proposal: search over what may change.

In the order of an ask's way through: `wishes` understands it, `compiled` holds what was prepared before any
ask (`mating` for joints, `pairing` for needs and renewals, `tally` for resources, `functions` for what parts let the
driver do, `gauges` for figures that decide, `room` for how much a plan may cost), `opening` and `domain` find what may
change and `stakes` what may be lost, `network` makes relations of it, `solve` finds the best plan (`order`,
`eliminate`; where the network is large `tighten`, `prune`, `handover`), `explain` reads the reasons off it, and
`conflict` answers where there is none; `keeping` relaxes a question whose plan loses a function.  `search` is the
public face.

A figure that decides is a `gauge`, one step of it a node (`figure_nodes`): `limit_gauge` is held to limits,
`need_gauge` asks for something.  A `view` says what every node comes to, a `diagram` what of that matters, and
`gauge_relations` makes relations of it.
"""
