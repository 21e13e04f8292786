"""The mothership's path as a decision: candidates listed, ranked, searched, joined on one front.

A candidate is a study of one path (`listed`): its run is the run of that study, to the byte, in a folder of its own.
Candidates that keep their limits are ranked by how many bodies one expects in reach (`by_expectation`); the best are
swept in one pass over the catalogue and searched one after the other (`together`); their fronts are joined
(`joining`): a plan stays where none of any mothership is at least as good in everything. Small burns of the best one
are then proposed (`retarget`) and searched as candidates of their own.
"""
