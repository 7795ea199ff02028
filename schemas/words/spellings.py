"""Other ways of saying the words of each vocabulary, as growers say them; see :mod:`schemas.codes`.

A word stands here only if it has one reading in its column. ``raw`` keeps what was typed.
"""

from __future__ import annotations

_SAID: dict[str, dict[str, str]] = {
    "method": {
        "freeze": "freezer, in freezer, in the freezer, deep frozen, froze, blanched and frozen",
        "dry": "dehydrator, air dry, air drying, sun dry, sun drying, hung to dry, hung up, sundried",
        "pickle": "vinegar pickle, pickle in vinegar, pickled in vinegar, fridge pickle, chutneys",
        "ferment": (
            "ferments, in brine, lacto ferment, lactoferment, wild ferment, salt brine, salt pickle, "
            "brine pickle, sour pickle, soured"
        ),
        "jam": (
            "jams, jelly/jam, jam/jelly, jellies, fruit spread, spread, honey jam, cooked with sugar, "
            "sugar preserve, preserved in sugar"
        ),
        "bottle": "bottle/can, home canned, cooked and bottled, pasteurised, pasteurized, in bottles",
        "cure": (
            "root store, in store, kept whole, stored whole, in sand, clamp, clamped, plaited, strung, "
            "hung in strings, kept fresh, dry stored"
        ),
    },
    "start": {
        "direct": (
            "d, direct sow, direct sowing, direct sowed, sown direct, sown outside, outside, outdoors, in bed, "
            "in row, in place, in the bed, where they grow, straight in, broadcast, seed, seeds, from seed, "
            "drilled, drill, in the open, in soil"
        ),
        "transplant": (
            "t, seedling, seedlings, bought seedlings, bought plants, plants, young plants, planted, "
            "planted out, indoors, inside, under glass, greenhouse, windowsill, pots, in pots, trays, "
            "seed tray, in trays, cell tray, cells, plugs, punnet, punnets, nursery, nursery bed, pricked out, "
            "raised inside, root trainers, polytunnel, tunnel, cold frame, sown indoors, sown inside, starts, "
            "started"
        ),
    },
    "sweetener": {
        "sugar": (
            "brown sugar, raw sugar, granulated, caster sugar, jam sugar, gelling sugar, preserving sugar, "
            "golden sugar, demerara"
        ),
        "honey": "bush honey, raw honey, clover honey, our honey",
        "other": "maple syrup, agave, stevia, jaggery, apple juice, date syrup, syrup",
        "none": "no sugar, nothing, unsweetened, nil, without",
    },
    "piece": {
        "whole": "uncut, entire, wholes, in one piece, not cut, whole pods, whole fruit, as is",
        "chunk": (
            "diced, dice, cubed, cube, chopped, quarters, quarter, quartered, halved, half, cut, cut up, "
            "in pieces, wedges, wedge, sticks, batons, spears, florets, cut off cob, off the cob, "
            "cut off the cob, kernels, segments, eighths, roughly chopped, coarse, coarsely chopped, lengths, "
            "cut in lengths, chunked"
        ),
        "shred": (
            "slice, thin slices, thinly sliced, rounds, rings, shreds, grate, minced, finely chopped, "
            "julienne, julienned, ribbons, coins, fine, finely cut, mandolined, shaved, finely sliced, strips, "
            "matchsticks"
        ),
    },
    "lid": {
        "metal": (
            "screw, screw top, screw cap, screw lid, screwtop, twist, twist off, twist top, crown cap, "
            "crown caps, crown, two piece, 2 piece, two-piece, flat and ring, tin lid, tin lids, metal screw, "
            "lug, metal lids, jam jar lid, foil, new metal"
        ),
        "plastic": (
            "plastic screw, plastic cap, tub lid, tub, snap lid, clip box, snap on, box lid, plastic box, "
            "ice cream tub, freezer box, airlock lid, silicone, waterlock"
        ),
        "glass": (
            "clip, clip top, clip lid, swing top, swing-top, flip top, wire bail, glass clip, rubber ring, "
            "glass top, clamp lid, clip glass, glass weight"
        ),
        "cloth": (
            "muslin, tea towel, cheesecloth, towel, cloth and band, paper, wax paper, cellophane, waxed paper, "
            "baking paper, fabric"
        ),
        "bag": (
            "zip bag, ziplock, zip lock, ziplock bag, plastic bag, bags, vac bag, vacuum bag, vacuum packed, "
            "vac packed, vacuum pack, paper bag, sack, net, pouch"
        ),
        "none": "open, uncovered, no, nothing, open crate, loose",
        "other": "cork",
    },
    "store": {
        "pantry": (
            "shed, garage, garden shed, outhouse, outbuilding, barn, porch, lean-to, lean to, utility, "
            "kitchen, kitchen cupboard, kitchen shelf, under the stairs, under stairs, stairs cupboard, "
            "cupboard under the stairs, loft, attic, spare room, hall, hall cupboard, house, indoors, dresser, "
            "bench, counter, worktop, shelves, dining room, room, store room, storeroom, store cupboard, "
            "cabinet, sideboard, bedroom, under the bed, office, laundry, wardrobe, airing cupboard"
        ),
        "cellar": (
            "cold room, cool room, coolroom, under the house, clamp, root store, underground, cave, "
            "cold cellar, cold store, crawl space"
        ),
        "fridge": (
            "in fridge, in the fridge, second fridge, icebox, ice box, cool box, refrig, garage fridge, "
            "beer fridge, old fridge"
        ),
        "freezer": (
            "in freezer, in the freezer, deepfreeze, deep-freeze, garage freezer, top freezer, freezer drawer, "
            "upright freezer, kitchen freezer, big freezer"
        ),
    },
    "cause": {
        "mould": (
            "mildew, fur, furry, fuzzy, fuzz, mould on top, white mould, black mould, "
            "green mould, went mouldy, went moldy, gone mouldy, spots of mould, mould on surface, "
            "mold on surface, blue mould, bit of mould, mould round the edge"
        ),
        "yeast film": "kahm yeast, white film, scum, film on top, yeast, white scum, bloom",
        "soft": (
            "mush, too soft, went soft, gone soft, squishy, soggy, mushy texture, limp, went limp, shrivelled, "
            "shriveled, wilted, wrinkled"
        ),
        "other": (
            "woody, stringy, off, went off, gone off, slugs, slug, snails, snail, slug damage, went bad, "
            "gone bad, bad, spoiled, spoilt, turned, sprouted, sprouting, shooting, bolted, gone to seed, "
            "went to seed, too big, too large, oversize, overgrown, too old, tough, past it, marrow, chooks, "
            "chickens, chooks got them, hens, birds, bird, possum, possums, rats, rat, mice, mouse, rabbit, "
            "rabbits, deer, bats, fruit bats, parrots, squirrel, squirrels, pigeons, pigeon, dog, goat, "
            "badger, fox, mouse damage, frost, frosted in field, hail, sunburn, sunburnt, sunscald, split, "
            "splitting, cracks, bruised, bruises, misshapen, greened, green, bitter, too much, too many, glut, "
            "no time, not wanted, nobody liked it, didn't like, power cut, burnt, burned, did not set, "
            "didn't set, no set, too salty, too runny"
        ),
        "slime": "slimy brine, ropey, ropy, went slimy, gone slimy, stringy brine",
        "off smell": (
            "stinks, stank, stink, smells, smelly, smelt off, smelled off, smells off, smelt wrong, "
            "smelled bad, bad odour, bad odor, odd smell, funny smell, whiffy, sour smell, cheesy smell, "
            "tasted off, gone funny smell"
        ),
        "bulging": (
            "bulged, bulge, domed, domed lid, lid domed, swollen, blown, popped, exploded, burst, lid popped, "
            "fizzing over, blew up, lid blew"
        ),
        "leak": (
            "seal failed, failed seal, did not seal, didn't seal, not sealed, unsealed, seal broke, seal gone, "
            "lost seal, broken, broke, cracked, cracked jar, smashed, jar broke, broken jar, jar cracked, "
            "dropped, spilt, spilled, leaky, lid loose"
        ),
        "rust": "rusty lid, lid rusted, rusted, rust on lid, corroded",
        "damp": "moisture, wet, gone damp, went damp, clumped, not dry enough, condensation",
        "insects": (
            "caterpillars, caterpillar, fruit fly, fruit flies, fruit-fly, maggots, maggot, grubs, grub, "
            "codling moth, moth, pantry moth, pantry moths, ants, beetles, beetle, weevil, worms, wasps, wasp, "
            "flies, earwigs, aphids, whitefly, stink bugs, bugs, bug, carrot fly, mites, cabbage white, "
            "leaf miner, pests, eaten by insects"
        ),
        "freezer burn": "ice crystals, freezer burnt, freezer-burn, freezer burned, dried out, frosted",
        "rot": (
            "rotting, went rotten, gone rotten, blossom end rot, neck rot, brown rot, soft rot, decayed, "
            "perished, blight, overripe, over ripe, too ripe, collapsed, rots"
        ),
    },
    "action": {
        "discarded": (
            "bin, binned it, in the bin, chucked, chucked out, tossed, dumped, garbage, rubbish, thrown, "
            "threw, threw it out, tipped, tipped out, poured away, burnt, poured out, landfill, buried, "
            "destroyed, got rid of"
        ),
        "composted": (
            "compost heap, on the compost, to compost, compost bin, heap, on the heap, worm farm, worms, "
            "dug in, mulch, mulched, bokashi, chop and drop"
        ),
        "fed to animals": (
            "chooks, chooks ate it, chooks ate them, to chooks, fed to chooks, to the chooks, fed to hens, "
            "fed to chickens, gave to chickens, to the hens, to hens, to chickens, pigs, pig, to the pigs, "
            "goats, goat, cow, rabbits, ducks, sheep, horses, dog, animal feed, stock feed, fed the pigs, "
            "to animals, fed to pigs, poultry, hens ate it, chickens ate it, pig bucket, geese, guinea pigs"
        ),
        "trimmed": (
            "cut off, cut out, cut bad bits out, scraped, scraped off, scraped and eaten, "
            "scraped off and eaten, scraped off, ate the rest, took top off, picked over, sorted, peeled off, "
            "used the rest, ate the rest, saved the rest"
        ),
        "redried": "back in dehydrator, redry, re-dry, back in the oven, dried again in oven",
        "skimmed": "skimmed off, took off film, spooned off, film removed, wiped off",
        "kept": (
            "left, nothing, none, left it, ok, watching, still there, put back, no action, fine, leave it, "
            "keeping an eye, all good, kept it"
        ),
    },
    "use": {
        "eaten": (
            "us, we ate, we ate it, family, home, household, self, ourselves, we, me, dinner, lunch, "
            "breakfast, supper, tea, kitchen, meal, meals, cooking, fresh, salad, soup, snack, pie, baking, "
            "own use, used up, consumed, house, at home, guests, party, shared meal, eating, food, cake, "
            "sandwiches, kids, children, opened, eaten fresh, ate fresh"
        ),
        "given": (
            "neighbour, neighbor, neighbours, neighbors, neighbour over the road, friend, friends, gave away, "
            "give, giveaway, gave it away, gave to neighbour, gifted, gifts, present, presents, mum, mother, "
            "dad, sister, brother, daughter, son, aunt, grandma, granny, in-laws, relatives, colleague, "
            "colleagues, gave to friends, given to friends, christmas, christmas present, visitor, visitors, "
            "gave to mum, next door, shared, handed out"
        ),
        "swapped": (
            "swapped with neighbour, swap shelf, trade, traded, bartered, barter, exchange, exchanged, "
            "swapped for eggs, crop swap, seed swap, swop, swopped"
        ),
        "sold": (
            "market, stall, at market, farm gate, roadside, honesty box, sell, cafe, customers, fete, "
            "market stall, sales"
        ),
        "donated": (
            "foodbank, charity, school, church, soup kitchen, community, community fridge, community kitchen, "
            "shelter, donate, to food bank, raffle"
        ),
        "animals": (
            "chooks, chickens, hens, pigs, pig, goats, goat, animals, dog, rabbits, fed to animals, "
            "fed to chooks, to the chooks, to the hens, ducks, animal feed, cow, sheep, geese, poultry, "
            "chooks ate it, livestock"
        ),
    },
}
"""By vocabulary and standard word: what is said for it, separated by commas."""

SPELLINGS: dict[str, dict[str, str]] = {
    name: {spelling: word for word, said in words.items() for spelling in said.split(", ")}
    for name, words in _SAID.items()
}
"""By vocabulary and spelling in lower case: the standard word."""

MORE_YES: tuple[str, ...] = ("yep", "yeah", "ok", "sure", "agreed", "ja", "oui")
MORE_NO: tuple[str, ...] = ("nope", "never", "not", "nein", "nil")

VENTED: dict[str, bool] = {
    **dict.fromkeys(("pin hole", "pinhole", "pin-hole", "hole in lid", "airlock", "air lock", "burped", "burp"), True),
    **dict.fromkeys(("burped daily", "loose lid", "loose", "lid loose", "cloth", "vented", "vent", "valve"), True),
    **dict.fromkeys(
        ("water lock", "waterlock", "bubbler", "opened daily", "open", "cracked open", "let out gas"), True
    ),
    **dict.fromkeys(
        ("tight", "closed", "sealed", "shut", "screwed tight", "screwed down", "clipped", "clamped"), False
    ),
}
"""Words for whether gas could escape."""

SUBMERGED: dict[str, bool] = {
    **dict.fromkeys(("under", "under brine", "below brine", "covered", "weighted", "all under", "held under"), True),
    **dict.fromkeys(("under liquid", "weight on top", "fully", "submerged", "kept under", "all covered"), True),
    **dict.fromkeys(("floating", "floated", "floats", "some floating", "bits floating", "partly", "not all"), False),
    **dict.fromkeys(("above brine", "above the brine", "exposed", "uncovered", "some above", "sticking out"), False),
}
"""Words for whether everything was kept under the liquid."""

SHARED_TOTALS: dict[str, bool] = {
    **dict.fromkeys(("totals", "total", "sums", "only totals", "totals only", "in totals", "plot", "own plot"), True),
    **dict.fromkeys(("none", "nothing", "never", "private"), False),
}
"""Words for whether a plot may stand in sums with others; who would show more agrees to that as well."""

YES_NO_WORDS: dict[str, dict[str, bool]] = {"vented": VENTED, "submerged": SUBMERGED, "share": SHARED_TOTALS}
"""By column: words that say yes or no there and nowhere else."""
