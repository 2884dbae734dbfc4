"""The cautions that every sheet carries where the danger is, in one wording."""

AID = (
    "A screening and planning aid for qualified people, not a verdict. Local codes, the utility's "
    "clearance rules and licensed practice come first."
)
NOT_LOW = (
    "Not inspected is not low. A tree without a rating is one that nobody has looked at inside the "
    "city's inspection cycle."
)
EVIDENCE = (
    "Ratings go as far as the evidence goes. A tree that is rated low may still fail, and wood "
    "that nobody can see is estimated."
)
DO_NOT_CLIMB = (
    "Do not climb. Do not stand under the crown until a qualified person has assessed it."
)
EVERY_PAGE = (AID, NOT_LOW, EVIDENCE)
