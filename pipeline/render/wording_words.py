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
DEFECT_WORDS = {
    "none_seen": "no defect",
    "decay": "decay",
    "cavity": "a cavity",
    "crack": "a crack",
    "canker": "a canker",
    "girth_wound": "a wound over part of the girth",
    "crown_dieback": "dieback of the crown",
    "weak_union": "a weak union",
    "girdling_root": "a girdling root",
    "root_damage": "damaged roots",
    "lean": "a lean",
    "dead_tree": "a dead tree",
    "dead_branch": "a dead branch",
    "hanging_branch": "a hanging branch",
    "split": "a split",
    "obstruction": "an obstruction",
    "sounds_hollow": "a hollow sound",
    "sounds_doubtful": "a doubtful sound",
}
KIND_WORDS = {
    "school": "a school",
    "kindergarten": "a kindergarten",
    "hospital": "a hospital",
    "care_home": "a care home",
    "playground": "a playground",
    "market": "a market",
    "bus_stop": "a bus stop",
    "path": "a path",
    "bridge": "a bridge",
    "square": "a square",
    "park": "a park",
    "sports": "a sports ground",
    "car_park": "a car park",
    "street": "a street",
    "railway": "a railway",
    "building": "a building",
    "home": "a home",
    "cemetery": "a cemetery",
    "water": "water",
    "other": "another place",
}
TARGET_WORDS = {
    "person": "a person",
    "vehicle": "a vehicle with people in it",
    "parked_car": "a parked car",
    "building": "a building",
}
STATUS_WORDS = {
    "stump": "a stump",
    "vacant": "a vacant site",
    "removed": "a removed tree",
    "habitat_pole": "a habitat pole",
    "standing": "a standing tree",
    "dead": "a dead tree",
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
    "active_nest": "an active nest or roost: nothing but licensed advice lifts this",
}
LIFT_WORDS = {
    "paint_wounds": "paint every wound at once",
    "dispose_elm_at_once": "dispose of the wood at once, keep none as firewood",
    "clean_tools": "cut in dry weather and clean the tools",
    "search_for_nests": "search for active nests first; an active nest stops the work until "
    "licensed advice is there",
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
    "no_climb_code": (
        "Do not climb: this fungus can make the tree fail without warning, and its reach is not "
        "settled."
    ),
    "no_climb_rot": "Do not climb: brown or soft rot of butt or stem breaks without warning.",
    "no_climb_dead": "Do not climb: the crown is dead or dying.",
    "no_climb_roots": "Do not climb: the roots may not hold.",
}

FORMULAE = {
    "wagener": "strength lost by Wagener",
    "coder": "strength lost by Coder",
    "smiley_fraedrich": "strength lost by Smiley and Fraedrich",
    "exact_section": "bending strength lost by the exact section",
    "shell_ratio": "sound shell over radius",
    "wall_splitting": "sound shell over radius, against splitting",
    "wall_buckling": "sound shell over radius, against buckling",
    "open_angle": "opening over girth",
    "usfs_opening": "opening over girth, by the community guide",
    "usfs_shell": "sound shell over diameter, by the community guide",
    "usfs_shell_open": "sound shell over diameter with an opening",
}
