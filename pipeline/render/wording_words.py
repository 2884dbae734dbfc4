"""Codes of the tables as the words that people read."""

PART_WORDS = {
    "roots": "the roots",
    "butt": "the butt",
    "stem": "the stem",
    "branch": "the branch",
}
ACTION_WORDS = {
    "make_safe": "make safe: isolate, close or prop",
    "remove": "remove the tree",
    "habitat_pole": "remove down to a habitat stem",
    "prune_part": "prune the part",
    "reduce_crown": "reduce the crown",
    "dig_root_collar": "clear the root collar and look",
    "sound": "sound and probe",
    "drill": "measure by drill",
    "tomography": "measure by tomography",
    "pull_test": "pull test",
    "expert_identification": "have the fungus identified by an expert",
    "move_target": "move or close the target",
    "retain_monitor": "keep and look again",
    "inspect": "inspect",
    "none": "nothing",
}
CREW_WORDS = {
    "climb": "climbing crew",
    "lift": "crew with an aerial lift",
    "ground": "ground crew",
    "inspect": "inspector",
    "instrument": "inspector with instruments",
}
WIRE_WORDS = {
    "communication": "communication wires",
    "low_voltage": "low-voltage wires",
    "high_voltage": "high-voltage wires",
}
SEASON_WORDS = {
    "oak_wilt": "the closed season for oaks (oak wilt)",
    "elm": "the closed season for elms (Dutch elm disease)",
    "fire_blight": "the growing season (fire blight)",
    "silver_leaf": "the wet season for cherries and plums (silver leaf)",
    "birds": "the nesting season",
    "bats": "the season in which bats roost in hollow trees",
    "active_nest": "an active nest or roost: nothing but licensed advice lifts this",
}
LIFT_WORDS = {
    "paint_wounds": "paint every wound at once",
    "dispose_elm_at_once": "dispose of the wood at once, keep none as firewood",
    "clean_tools": "cut in dry weather and clean the tools",
    "search_for_nests": "search for active nests first; an active nest stops the work until "
    "licensed advice is there",
    "search_for_roosts": "have hollows and splits searched for bats first; a roost stops the work "
    "until licensed advice is there",
}
REASONS = {
    "why_failure_imminent": "Failure has begun or may come without wind: keep people away at once.",
    "why_rating_extreme": "The rating is extreme: keep people away at once.",
    "why_brown_rot_meanwhile": (
        "Keep people away until a check confirms or lifts the presumed removal."
    ),
    "why_brown_rot_presumed": (
        "Brown rot of butt or stem over a used place: removal is the usual advice (common "
        "practice, no source). A tomogram or an opened section that shows enough sound wood "
        "would lift it."
    ),
    "why_prune_reaches": (
        "Taking off the part is the gentlest work that reaches the accepted rating."
    ),
    "why_reduce_reaches": (
        "A smaller crown catches less wind; nothing gentler reaches the accepted rating."
    ),
    "why_move_reaches": "The target can be moved or closed; the tree can stay.",
    "why_habitat_pole_reaches": (
        "Nothing gentler reaches the accepted rating; a short stem can stay as habitat."
    ),
    "why_dead_tree": (
        "A dead tree only gets weaker: it is not kept over a target; a short stem can stay as "
        "habitat."
    ),
    "why_nothing_gentler": "Nothing gentler than removal reaches the accepted rating.",
    "why_roots_unseen": (
        "Readings of the stem say nothing of the roots: clear the root collar and look."
    ),
    "why_anchorage_unknown": "How well the roots hold is not known; a pull test tells.",
    "why_drill_under_reads": "A drill or a mallet under-reads this rot; a tomogram sees more.",
    "why_extent_unknown": (
        "How far the decay reaches is not known; measure before anything is taken away."
    ),
    "why_look_closely": "Look closely: sound, probe, check the crown for dieback.",
    "why_name_uncertain": "The fungus decides much: have the name checked.",
    "why_retain": "The rating is accepted: keep the tree and look again.",
    "why_never_inspected": "No inspection is on record.",
    "why_overdue": "The city's inspection cycle has run out.",
    "why_due": "The city's inspection cycle runs out within the plan.",
}
