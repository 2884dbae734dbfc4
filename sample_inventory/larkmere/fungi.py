"""The fungi that fruit on Larkmere's trees: names, hosts, seasons and looks are facts.

Hosts, seasons and characters follow the usual field descriptions of eastern North American
species (common practice, no source); the weights are invented.
"""

from dataclasses import dataclass, field

from larkmere.trees import Tree

CHARACTERS = ("form", "upper_colour", "under_colour", "upper_texture", "under_surface", "flesh",
              "arrangement")  # fmt: skip


@dataclass(frozen=True)
class Fungus:
    """One fungus; several states of a character are joined with |."""

    name: str
    common: str
    hosts: tuple[str, ...]
    positions: tuple[str, ...]
    months: tuple[int, int]
    weight: int
    least_dbh_cm: int
    form: str
    upper_colour: str
    under_colour: str
    upper_texture: str
    under_surface: str
    flesh: str
    arrangement: str
    perennial: bool = field(kw_only=True)


_TABLE = """
Ganoderma sessile|varnish conk|Quercus,Acer,Fagus,Gleditsia,Ulmus,Fraxinus,Prunus|root_flare,butt|6-11|150|30|shelf|red_brown|white|varnished|pores|corky|overlapping|0
Ganoderma applanatum|artist's conk|Acer,Fagus,Populus,Quercus,Ulmus,Tilia,Aesculus,Salix|butt,lower_stem,stem|1-12|130|45|shelf|brown|white|crusted|pores|woody|single|1
Kretzschmaria deusta|brittle cinder|Fagus,Acer,Tilia,Aesculus,Celtis,Ulmus,Platanus|root_flare,butt|1-12|70|45|crust|black|black|cracked|pimpled|brittle|patch|0
Laetiporus sulphureus|chicken of the woods|Quercus,Prunus,Robinia,Salix,Gleditsia,Fraxinus,Juglans|lower_stem,stem|5-10|95|40|shelf|orange|yellow|velvety|pores|fleshy|overlapping|0
Laetiporus cincinnatus|white-pored chicken of the woods|Quercus|soil_over_root,root_flare|6-10|45|45|rosette|salmon|white|velvety|pores|fleshy|cluster|0
Grifola frondosa|hen of the woods|Quercus,Acer,Ulmus|soil_over_root,root_flare|8-11|70|45|rosette|grey|white|hairy|pores|fleshy|cluster|0
Bondarzewia berkeleyi|Berkeley's polypore|Quercus,Acer|soil_over_root,root_flare|7-10|35|45|rosette|cream|white|zoned|pores|leathery|cluster|0
Armillaria mellea|honey mushroom|Quercus,Acer,Prunus,Malus,Betula,Tilia,Juglans,Salix,Pinus,Fraxinus|root_flare,butt,soil_over_root|8-11|90|25|gilled_cluster|yellow|white|scaly|gills|fleshy|cluster|0
Inonotus hispidus|shaggy bracket|Fraxinus,Quercus,Juglans,Malus,Platanus,Morus|stem,wound|6-10|40|35|shelf|orange|tan|hairy|pores|watery|single|0
Fomes fomentarius|tinder fungus|Betula,Fagus,Acer,Populus|stem|1-12|35|30|hoof|grey|brown|crusted|pores|corky|several|1
Fomitopsis betulina|birch polypore|Betula|stem|1-12|30|22|shelf|tan|white|smooth|pores|corky|several|0
Phellinus igniarius|false tinder conk|Salix,Betula,Malus,Populus,Acer|branch_stub,stem|1-12|30|35|hoof|black|brown|cracked|pores|woody|single|1
Fulvifomes robiniae|cracked-cap polypore|Robinia|stem|1-12|40|30|hoof|brown|brown|cracked|pores|woody|single|1
Pleurotus ostreatus|oyster mushroom|Fagus,Acer,Populus,Salix,Tilia,Aesculus,Quercus|wound,stem|9-12|60|35|gilled_cluster|grey|white|smooth|gills|fleshy|overlapping|0
Cerioporus squamosus|dryad's saddle|Ulmus,Acer,Aesculus,Fraxinus,Tilia,Platanus|wound,stem|4-7|65|35|shelf|yellow|white|scaly|pores|fleshy|single|0
Climacodon septentrionalis|northern tooth|Acer,Fagus|stem|7-11|35|45|shelf|cream|white|hairy|teeth|fleshy|overlapping|0
Hericium erinaceus|lion's mane|Quercus,Fagus,Acer,Juglans|wound,stem|8-11|25|50|tooth_mass|white|white|smooth|teeth|fleshy|single|0
Phaeolus schweinitzii|dyer's polypore|Pinus,Picea,Tsuga|soil_over_root,butt|7-11|45|40|rosette|brown|green|velvety|pores|brittle|single|0
Porodaedalea pini|red ring rot|Pinus,Picea,Tsuga|branch_stub,stem|1-12|20|35|hoof|brown|yellow|cracked|pores|woody|several|1
Pholiota squarrosa|scaly pholiota|Fraxinus,Populus,Malus,Acer,Betula,Picea|butt,root_flare|8-11|25|30|gilled_cluster|tan|brown|scaly|gills|fleshy|cluster|0
Trametes versicolor|turkey tail|Quercus,Acer,Prunus,Betula,Malus|wound,stem|1-12|60|15|shelf|brown|white|zoned|pores|leathery|overlapping|0
Daedaleopsis confragosa|thin-maze flat polypore|Salix,Betula,Malus,Prunus|branch,wound|1-12|25|20|shelf|tan|white|zoned|maze|leathery|several|0
Schizophyllum commune|split gill|Prunus,Gleditsia,Tilia,Malus,Acer|wound,branch|1-12|40|12|shelf|white|grey|hairy|split_gills|leathery|overlapping|0
Fuscoporia gilva|mustard-yellow polypore|Quercus,Acer,Prunus|stem,butt|1-12|25|30|shelf|yellow|brown|hairy|pores|leathery|overlapping|0
Oxyporus populinus|mossy maple polypore|Acer,Tilia,Populus|wound,fork,stem|1-12|30|35|shelf|white|white|hairy|pores|corky|overlapping|1
"""  # noqa: E501 - one fungus a line


def _fungus(line: str) -> Fungus:
    cells = line.split("|")
    name, common, hosts, positions, months, weight, least, *looks, perennial = cells
    low, high = months.split("-")
    return Fungus(
        name, common, tuple(hosts.split(",")), tuple(positions.split(",")), (int(low), int(high)),
        int(weight), int(least), *looks, perennial=perennial == "1",
    )  # fmt: skip


ALL = tuple(_fungus(line) for line in _TABLE.strip().splitlines())
BY_NAME = {fungus.name: fungus for fungus in ALL}

# Mushrooms of mulch and turf that rot no living wood.
FREE_STANDING = (
    ("Agrocybe praecox", "mulch", "stalked", "tan", "grey", "gills"),
    ("Phallus impudicus", "mulch", "stalked", "white", "white", "gleba"),
    ("Cyathus striatus", "mulch", "cup", "brown", "grey", "gleba"),
    ("Marasmius oreades", "turf", "stalked", "tan", "cream", "gills"),
    ("Lycoperdon perlatum", "soil", "ball", "white", "white", "gleba"),
)


def fits(fungus: Fungus, tree: Tree) -> bool:
    """True where the tree is a host, big enough and still standing."""
    return (
        tree.species.genus in fungus.hosts
        and tree.dbh_cm >= fungus.least_dbh_cm
        and tree.status == "standing"
    )
