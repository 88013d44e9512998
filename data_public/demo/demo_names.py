"""What are the streets, towns and operators of the demo called? All names are made up."""

# fmt: off
STREETS = (
    "Alder", "Bramble", "Cedar", "Dogwood", "Elder", "Foxglove",
    "Gorse", "Hazel", "Iris", "Juniper", "Knapweed", "Larch",
    "Mallow", "Nettle", "Osier", "Poplar", "Quince", "Rowan",
    "Sorrel", "Tansy", "Umber", "Vetch", "Willow", "Yarrow",
    "Aster", "Bracken", "Clover", "Damson", "Elm", "Fennel",
    "Gentian", "Heather",
)
CROSS_STREETS = (
    "Anvil", "Bellows", "Cooper", "Drover", "Ember", "Farrier",
    "Glover", "Harness", "Inkwell", "Joiner", "Kettle", "Lantern",
    "Mason", "Needle", "Orchard", "Potter", "Quill", "Ropewalk",
    "Saddler", "Thatch", "Upholder", "Vintner", "Weaver", "Yeoman",
    "Almanac", "Bobbin", "Candle", "Dovetail", "Easel", "Fiddle",
    "Gimlet", "Hourglass",
)
TOWNS = (
    "Alderby", "Brackenford", "Cresthollow", "Dunmere", "Eastwick-on-Fell", "Ferncombe",
    "Gablestone", "Hartsway",
)
OPERATORS = (
    "Ampersand", "Bluebell", "Cartwheel", "Dandelion", "Evergreen", "Featherstone",
    "Gooseberry", "Hummingbird", "Ironbark", "Jackdaw", "Kingfisher", "Lavender",
    "Moonstone", "Nightjar",
)
# fmt: on
