"""The invented names of the demo world: characters of three lines with translations and misspellings.

Promises that no real brand, maker or person is among them. Each row reads
`kind popularity | English | German | French | Dutch | misspellings and short forms (;)`; kind `c` is a character,
`v` a vehicle, `p` a playset; popularity runs from 9 (everybody wants it) to 1. Not here: releases and cards (`lines`).
"""

from __future__ import annotations

from dataclasses import dataclass

from hangtab.catalogue.model import Alias, Names

KINDS = {"c": "character", "v": "vehicle", "p": "playset"}

_TIDEWARDENS = """
c9 | Harbour Master | Hafenmeister | Maître du port | Havenmeester | harbor master;harbourmaster
c5 | Harbour Pilot | Hafenlotse | Pilote du port | Havenloods | harbor pilot
c9 | Night Diver | Nachttaucher | Plongeur de nuit | Nachtduiker | nite diver;night driver
c4 | Night Pilot | Nachtpilot | Pilote de nuit | Nachtpiloot | nite pilot
c8 | Signal Keeper | Signalwärter | Gardien des signaux | Seinwachter | signal keper
c3 | Signal Runner | Signalläufer | Coureur des signaux | Seinloper | signal runer
c8 | Lamplighter | Lampenanzünder | Allumeur de phares | Lampenist | lamp lighter
c7 | Storm Warden | Sturmwächter | Gardien des tempêtes | Stormwachter | stormwarden
c3 | Storm Watcher | Sturmspäher | Guetteur des tempêtes | Stormspeurder | storm wacher
c7 | Deep Rescuer | Tiefenretter | Sauveteur des profondeurs | Diepteredder | deep rescue man
c6 | Lifeboat Captain | Rettungsbootkapitän | Capitaine de canot | Reddingbootkapitein | life boat captain
c6 | Buoy Keeper | Bojenwärter | Gardien de bouée | Boeienwachter | bouy keeper
c5 | Rope Thrower | Seilwerfer | Lanceur de corde | Touwwerper | rope trower
c5 | Fog Caller | Nebelrufer | Crieur de brume | Mistroeper | fog horn caller
c5 | Reef Medic | Riffsanitäter | Médecin du récif | Rifarts | reef medick
c4 | Tide Reader | Gezeitenleser | Lecteur des marées | Getijlezer | tide reeder
c4 | Anchor Smith | Ankerschmied | Forgeron d'ancres | Ankersmid | anker smith
c4 | Winch Hand | Windenführer | Treuilliste | Liermatroos | winch man
c4 | Gale Rider | Sturmreiter | Cavalier du vent | Windruiter | gail rider
c4 | Cliff Climber | Klippenkletterer | Grimpeur de falaise | Klifklimmer | clif climber
c3 | Salvage Chief | Bergungsleiter | Chef de sauvetage | Bergingsbaas | salvage cheif
c3 | Ice Breaker | Eisbrecher | Brise-glace | IJsbreker | icebreaker
c3 | Sonar Operator | Sonarfunker | Opérateur sonar | Sonarman | sonar operater
c3 | Ferry Guard | Fährwächter | Garde du bac | Veerwachter | fery guard
c3 | Otter Trainer | Otterführer | Dresseur de loutres | Ottertrainer | oter trainer
c3 | Kelp Ranger | Tangförster | Garde des algues | Kelpboswachter | kelp rangers
c2 | Dock Cook | Hafenkoch | Coq du quai | Dokkok | dock cooke
c2 | Chart Drawer | Kartenzeichner | Dessinateur de cartes | Kaartentekenaar | chart drawler
c2 | Wreck Finder | Wracksucher | Chercheur d'épaves | Wrakzoeker | reck finder
c2 | Pump Engineer | Pumpenmeister | Mécanicien des pompes | Pompmachinist | pump enginer
c2 | Gull Whisperer | Möwenflüsterer | Ami des mouettes | Meeuwenfluisteraar | gull wisperer
c2 | Smuggler Silt | Schmuggler Schlick | Contrebandier Vase | Smokkelaar Slib | smugler silt
c6 | Captain Barnacle-Jack | Kapitän Muschelbart | Capitaine Bernacle | Kapitein Zeepok | cpt barnacle jack
c7 | Baron Undertow | Baron Unterstrom | Baron Ressac | Baron Onderstroom | baron undertoe
c5 | Madame Maelstrom | Madame Mahlstrom | Madame Tourbillon | Madame Maalstroom | madam maelstrom
c3 | Brine Thug | Laugenschläger | Brute de saumure | Pekelbruut | brine thugs
c3 | Wrecker Twins | Strandräuberzwillinge | Jumeaux naufrageurs | Strandjutterstweeling | wreckers twins
c2 | Eel Rider | Aalreiter | Cavalier d'anguille | Palingruiter | eal rider
c1 | Radio Officer | Funkoffizier | Officier radio | Radio-officier | radio oficer
c1 | Sailmaker | Segelmacher | Voilier | Zeilmaker | sail maker
v7 | Rescue Launch | Rettungsbarkasse | Vedette de secours | Reddingsbarkas | rescue lanch
v3 | Rescue Lander | Rettungslander | Barge de secours | Reddingslander | rescue landing craft
v4 | Tide Hopper | Gezeitenhüpfer | Saute-marée | Getijhopper | tidehopper
v3 | Storm Tender | Sturmtender | Annexe des tempêtes | Stormtender | storm tendor
v2 | Diving Bell | Taucherglocke | Cloche de plongée | Duikklok | diveing bell
p3 | Lighthouse Station | Leuchtturmstation | Station du phare | Vuurtorenstation | light house station
"""

_LANTERN_CIRCUS = """
c9 | Strong Sisters | Starke Schwestern | Sœurs costaudes | Sterke Zussen | strong sister
c8 | Tin Acrobats | Blechakrobaten | Acrobates de fer-blanc | Blikken Acrobaten | tin acrobat
c4 | Tin Jugglers | Blechjongleure | Jongleurs de fer-blanc | Blikken Jongleurs | tin juglers
c8 | Lamplighter | Laternenanzünder | Allumeur de lanternes | Lantaarnopsteker | lamp lighter
c7 | Moon Rider | Mondreiterin | Cavalière de lune | Maanruiter | moonrider
c7 | Ringmaster Glim | Direktor Glimm | Monsieur Lueur | Directeur Glim | ringmaster glimm
c6 | Paper Lion | Papierlöwe | Lion de papier | Papieren Leeuw | paper lyon
c3 | Paper Bear | Papierbär | Ours de papier | Papieren Beer | paper bare
c6 | Shadow Puppeteer | Schattenspieler | Marionnettiste d'ombres | Schaduwspeler | shadow pupeteer
c5 | Candle Clown | Kerzenclown | Clown aux bougies | Kaarsenclown | candel clown
c5 | Wire Walker | Seiltänzer | Funambule | Koorddanser | wirewalker
c5 | Fire Piper | Feuerpfeifer | Flûtiste de feu | Vuurfluiter | fire pipper
c4 | Lantern Elephant | Laternenelefant | Éléphant lanterne | Lantaarnolifant | lantern elefant
c4 | Mirror Dancer | Spiegeltänzerin | Danseuse aux miroirs | Spiegeldanseres | miror dancer
c4 | Knife Whistler | Messerpfeifer | Siffleur de couteaux | Messenfluiter | knife wistler
c4 | Bell Monkeys | Glockenaffen | Singes aux cloches | Belapen | bell monkies
c3 | Star Vaulter | Sternenspringer | Sauteur d'étoiles | Sterrenspringer | star valter
c3 | Accordion Man | Akkordeonmann | Homme à l'accordéon | Accordeonman | acordion man
c3 | Wax Conjurer | Wachszauberer | Prestidigitateur de cire | Wasgoochelaar | wax conjuror
c3 | Hoop Terriers | Reifenterrier | Terriers au cerceau | Hoepelterriërs | hoop teriers
c3 | Cloud Fakir | Wolkenfakir | Fakir des nuages | Wolkenfakier | cloud faker
c2 | Ticket Seller | Kartenverkäuferin | Vendeuse de billets | Kaartjesverkoopster | ticket sellar
c2 | Drum Major Moth | Tambourmajor Motte | Tambour-major Mite | Tamboer Mot | drum major moths
c2 | Balloon Vendor | Ballonverkäufer | Marchand de ballons | Ballonnenman | baloon vendor
c2 | Stilt Walkers | Stelzenläufer | Échassiers | Steltlopers | stilt walker
c2 | Glass Harpist | Glasharfenspieler | Harpiste de verre | Glasharpist | glas harpist
c1 | Tent Hand | Zeltarbeiter | Monteur de tente | Tentknecht | tenthand
v4 | Parade Wagon | Paradewagen | Chariot de parade | Optochtwagen | parade waggon
v3 | Calliope Cart | Orgelkarren | Chariot à orgue | Orgelkar | caliope cart
p5 | Big Tent | Großes Zelt | Grand chapiteau | Grote Tent | bigtent
"""

_SKYLOOM = """
c9 | Warp Kite | Kettendrachen | Cerf-volant de chaîne | Scheringvlieger | warpkite
c4 | Warp Rider | Kettenreiter | Cavalier de chaîne | Scheringruiter | warprider
c8 | Weft Glider | Schussgleiter | Planeur de trame | Inslagzwever | weft glyder
c8 | Cloud Weaver | Wolkenweberin | Tisseuse de nuages | Wolkenweefster | cloud weever
c4 | Cloud Cutter | Wolkenschneider | Coupeur de nuages | Wolkensnijder | cloud cuter
c7 | Thunder Spool | Donnerspule | Bobine tonnerre | Donderspoel | thunder spol
c7 | Shuttle Knight | Schiffchenritter | Chevalier navette | Spoelridder | shuttel knight
c6 | Silk Falcon | Seidenfalke | Faucon de soie | Zijdevalk | silk falkon
c6 | Rain Dyer | Regenfärber | Teinturier de pluie | Regenverver | rain dier
c6 | Bobbin Scout | Spulenspäher | Éclaireur bobine | Klosverkenner | bobin scout
c5 | Zephyr Twins | Zephirzwillinge | Jumeaux zéphyr | Zefiertweeling | zephir twins
c5 | Loom Tyrant | Webstuhltyrann | Tyran du métier | Weeftiran | loom tirant
c5 | Moth General | Mottengeneral | Général Mite | Mottengeneraal | moth genral
c5 | Aurora Pilot | Polarlichtpilotin | Pilote d'aurore | Noorderlichtpiloot | arora pilot
c4 | Frost Spinner | Frostspinner | Fileur de givre | Vorstspinner | frost spiner
c4 | Gust Runner | Böenläufer | Coureur de rafales | Vlaagloper | gust runer
c4 | Needle Lancer | Nadellanzer | Lancier aiguille | Naaldlansier | needel lancer
c4 | Star Tailor | Sternenschneider | Tailleur d'étoiles | Sterrenkleermaker | star taylor
c3 | Comet Stitcher | Kometennäher | Couseur de comètes | Komeetnaaier | comet sticher
c3 | Wind Chemist | Windchemiker | Chimiste du vent | Windscheikundige | wind chemst
c3 | Balloon Sentry | Ballonposten | Sentinelle ballon | Ballonwacht | baloon sentry
c3 | Feather Medic | Federsanitäter | Médecin plume | Verenarts | feather medick
c3 | Ribbon Courier | Bandkurier | Courrier ruban | Lintkoerier | ribon courier
c3 | Patch Mechanic | Flickenmechaniker | Mécano rapiécé | Lapmonteur | patch mecanic
c3 | Sun Carder | Sonnenkämmer | Cardeur de soleil | Zonnekaarder | sun karder
c2 | Dust Devil Dan | Staubteufel Dan | Dan le tourbillon | Stofduivel Dan | dust devil den
c2 | Hail Thrower | Hagelwerfer | Lanceur de grêle | Hagelwerper | hale thrower
c2 | Thimble Guard | Fingerhutwache | Garde dé à coudre | Vingerhoedwacht | thimbel guard
c2 | Felt Giant | Filzriese | Géant de feutre | Viltreus | felt gaint
c2 | Echo Parrot | Echopapagei | Perroquet écho | Echopapegaai | echo parot
c2 | Tangle Imp | Knäuelkobold | Lutin nœud | Knoopkobold | tangel imp
c1 | Button Steward | Knopfsteward | Intendant bouton | Knoopsteward | buton steward
c1 | Lint Collector | Fusselsammler | Collecteur de peluches | Pluizenverzamelaar | lint colector
v6 | Sky Shuttle | Himmelsschiffchen | Navette du ciel | Luchtspoel | skyshuttle
v4 | Thread Runner | Fadenläufer | File-fil | Draadloper | thred runner
v3 | Dye Barge | Färberkahn | Péniche à teinture | Verfschuit | die barge
p4 | Floating Mill | Schwebende Mühle | Moulin flottant | Zwevende Molen | floting mill
p2 | Weather Tower | Wetterturm | Tour météo | Weertoren | wether tower
"""

TABLES = {"tidewardens": _TIDEWARDENS, "lantern-circus": _LANTERN_CIRCUS, "skyloom": _SKYLOOM}


@dataclass(frozen=True, slots=True)
class Cast:
    """One character as the tables give it: `names.aliases` hold the translations and the misspellings."""

    kind: str
    popularity: int
    names: Names

    def in_language(self, language: str) -> str:
        """The name in a language, the English one where there is no translation."""
        return next((a.text for a in self.names.aliases if a.language == language), self.names.name)

    def slips(self) -> tuple[str, ...]:
        """Known misspellings and short forms."""
        return tuple(a.text for a in self.names.aliases if not a.language)


def cast_of(line: str) -> tuple[Cast, ...]:
    """All characters of a line in the order of its table."""
    return tuple(_cast(row) for row in TABLES[line].strip().splitlines())


def _cast(row: str) -> Cast:
    head, english, german, french, dutch, slips = (part.strip() for part in row.split("|"))
    words = (("de", german), ("fr", french), ("nl", dutch))
    translated = tuple(Alias(text, language) for language, text in words)
    return Cast(KINDS[head[0]], int(head[1]), Names(english, translated + tuple(Alias(s) for s in slips.split(";"))))


def slug(name: str) -> str:
    """An ASCII kebab-case id of an English name.

    >>> slug("Captain Barnacle-Jack")
    'captain-barnacle-jack'
    """
    kept = "".join(c if c.isalnum() and c.isascii() else "-" for c in name.lower())
    return "-".join(part for part in kept.split("-") if part)
