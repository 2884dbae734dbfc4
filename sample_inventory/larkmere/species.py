"""The species mix of Larkmere: scientific names are facts, the shares are invented.

The mix is that of a north-eastern town: maples a little too many, no species over a tenth.
"""

from dataclasses import dataclass


@dataclass(frozen=True)
class Species:
    """One species.

    Parameters
    ----------
    weight : share of the street trees, in tenths of a percent.
    park_weight : the same in parks.
    size : factor on the town's diameter distribution.
    tallest_m : height of the largest tree of the kind.
    growth_cm : yearly growth in diameter.
    """

    name: str
    common: str
    family: str
    weight: int
    park_weight: int
    size: float
    tallest_m: float
    growth_cm: float

    @property
    def genus(self) -> str:
        """First word of the name."""
        return self.name.split(" ")[0]


_TABLE = """
Acer platanoides|Norway maple|Sapindaceae|82|20|1.05|22|0.85
Acer rubrum|red maple|Sapindaceae|62|50|0.95|23|0.9
Acer saccharum|sugar maple|Sapindaceae|50|60|1.15|25|0.7
Acer saccharinum|silver maple|Sapindaceae|34|20|1.6|27|1.3
Acer x freemanii|Freeman maple|Sapindaceae|18|0|0.6|20|1.1
Gleditsia triacanthos|honeylocust|Fabaceae|84|10|1.0|20|0.9
Tilia cordata|littleleaf linden|Malvaceae|62|15|1.05|21|0.75
Tilia americana|American linden|Malvaceae|20|25|1.25|25|0.8
Quercus rubra|northern red oak|Fagaceae|54|70|1.25|26|1.0
Quercus palustris|pin oak|Fagaceae|46|20|1.25|25|1.05
Quercus alba|white oak|Fagaceae|10|45|1.35|25|0.6
Quercus bicolor|swamp white oak|Fagaceae|24|25|0.75|22|0.8
Quercus macrocarpa|bur oak|Fagaceae|10|20|1.1|24|0.7
Quercus robur|English oak|Fagaceae|8|4|0.8|22|0.8
Platanus x acerifolia|London planetree|Platanaceae|38|25|1.4|27|1.2
Ulmus americana|American elm|Ulmaceae|24|25|1.35|27|1.1
Ulmus parvifolia|lacebark elm|Ulmaceae|12|0|0.7|15|0.9
Ulmus pumila|Siberian elm|Ulmaceae|10|6|1.1|20|1.2
Zelkova serrata|Japanese zelkova|Ulmaceae|34|0|0.75|19|0.9
Celtis occidentalis|common hackberry|Cannabaceae|24|15|0.95|20|0.8
Fraxinus pennsylvanica|green ash|Oleaceae|32|15|1.1|21|0.95
Fraxinus americana|white ash|Oleaceae|15|30|1.2|23|0.9
Syringa reticulata|Japanese tree lilac|Oleaceae|32|4|0.45|8|0.45
Ginkgo biloba|ginkgo|Ginkgoaceae|34|5|0.75|20|0.55
Pyrus calleryana|Callery pear|Rosaceae|48|0|0.65|12|0.9
Malus spp.|crabapple|Rosaceae|42|20|0.55|8|0.6
Prunus serrulata|Japanese flowering cherry|Rosaceae|26|15|0.6|9|0.7
Prunus serotina|black cherry|Rosaceae|6|35|0.95|21|0.8
Prunus virginiana|chokecherry|Rosaceae|10|6|0.45|8|0.6
Amelanchier x grandiflora|serviceberry|Rosaceae|18|12|0.35|7|0.45
Crataegus crus-galli|cockspur hawthorn|Rosaceae|12|6|0.45|7|0.45
Cercis canadensis|eastern redbud|Fabaceae|16|12|0.45|8|0.6
Gymnocladus dioicus|Kentucky coffeetree|Fabaceae|16|8|0.7|19|0.65
Robinia pseudoacacia|black locust|Fabaceae|12|20|1.0|20|1.0
Aesculus hippocastanum|horsechestnut|Sapindaceae|14|12|1.3|20|0.8
Koelreuteria paniculata|goldenrain tree|Sapindaceae|8|2|0.5|9|0.6
Liquidambar styraciflua|sweetgum|Altingiaceae|16|8|0.85|22|0.9
Liriodendron tulipifera|tulip tree|Magnoliaceae|14|25|1.3|29|1.1
Betula nigra|river birch|Betulaceae|14|20|0.65|17|0.9
Betula papyrifera|paper birch|Betulaceae|7|18|0.65|17|0.7
Carpinus betulus|European hornbeam|Betulaceae|14|4|0.55|13|0.55
Fagus grandifolia|American beech|Fagaceae|2|40|1.3|25|0.55
Fagus sylvatica|European beech|Fagaceae|6|20|1.4|24|0.6
Juglans nigra|black walnut|Juglandaceae|6|30|1.15|24|0.85
Catalpa speciosa|northern catalpa|Bignoniaceae|12|6|1.2|19|0.95
Morus alba|white mulberry|Moraceae|8|6|0.9|13|0.9
Populus deltoides|eastern cottonwood|Salicaceae|3|25|1.8|30|1.8
Salix alba|white willow|Salicaceae|2|40|1.7|22|1.7
Pinus strobus|eastern white pine|Pinaceae|10|60|1.15|29|1.0
Pinus nigra|Austrian pine|Pinaceae|12|25|0.95|19|0.75
Picea abies|Norway spruce|Pinaceae|10|50|1.15|28|0.9
Picea pungens|Colorado spruce|Pinaceae|10|20|0.75|19|0.6
Tsuga canadensis|eastern hemlock|Pinaceae|2|25|0.95|23|0.55
Thuja occidentalis|northern white-cedar|Cupressaceae|10|12|0.5|13|0.45
Metasequoia glyptostroboides|dawn redwood|Cupressaceae|6|8|1.0|26|1.3
"""


def _species(line: str) -> Species:
    name, common, family, weight, park, size, tallest, growth = line.split("|")
    return Species(
        name, common, family, int(weight), int(park), float(size), float(tallest), float(growth)
    )


ALL = tuple(_species(line) for line in _TABLE.strip().splitlines())

# (a name that botanists have given up, the accepted one): facts of nomenclature.
SYNONYMS = (
    ("Acer dasycarpum", "Acer saccharinum"),
    ("Quercus borealis", "Quercus rubra"),
    ("Tilia parvifolia", "Tilia cordata"),
    ("Tilia glabra", "Tilia americana"),
    ("Platanus acerifolia", "Platanus x acerifolia"),
    ("Gleditsia triacanthos var. inermis", "Gleditsia triacanthos"),
    ("Fraxinus lanceolata", "Fraxinus pennsylvanica"),
    ("Picea excelsa", "Picea abies"),
    ("Pinus austriaca", "Pinus nigra"),
)
# (as mistyped, as meant)
MISSPELT = (
    ("Acer platanoids", "Acer platanoides"),
    ("Acer sacharum", "Acer saccharum"),
    ("Gleditsia triacanthus", "Gleditsia triacanthos"),
    ("Gledistia triacanthos", "Gleditsia triacanthos"),
    ("Quercus pallustris", "Quercus palustris"),
    ("Quercus rubrum", "Quercus rubra"),
    ("Tilia cordatta", "Tilia cordata"),
    ("Plantanus x acerifolia", "Platanus x acerifolia"),
    ("Fraxinus pensylvanica", "Fraxinus pennsylvanica"),
    ("Pyrus calleriana", "Pyrus calleryana"),
    ("Gingko biloba", "Ginkgo biloba"),
    ("Zelcova serrata", "Zelkova serrata"),
    ("Syringa reticulatta", "Syringa reticulata"),
    ("Ulmus amercana", "Ulmus americana"),
)
UNKNOWN_NAMES = ("Ornamental, see photo", "TBD", "Broadleaf species", "???")
