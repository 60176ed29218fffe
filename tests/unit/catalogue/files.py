"""A tiny catalogue of the invented world, by file."""

FILES = {
    "catalogue.toml": """name = "Tiny"

[makers.marrow-pike]
name = "Marrow & Pike"
aliases = ["M&P", "de:Kürbis und Hecht"]

[redirects]
tw-old-keeper = "tw-older-keeper"
tw-older-keeper = "tw-keeper-1"
""",
    "features.csv": """id,kind,name,line,transplantable,aliases
card-ca,territory,Canadian card,,no,bilingual;fr:carte canadienne
glow-sticker,sticker,glow sticker,tidewardens,yes,glow
""",
    "flaws.csv": "id,name,packaging,aliases\ncrease,creased card,carded,dog-ear\n",
    "words.csv": "role,language,text\nnoise,en,minty\nlot,en,Loose\n",
    "taxes.csv": "country,valid_from,rate\nGB,2008-12-01,0.15\nGB,2011-01-04,0.20\n",
    "graders/northgate.toml": """id = "northgate"
name = "Northgate"
certificate = '[0-9]{6}'

[[generations]]
id = "first-case"
name = "first case"

[[qualifiers]]
id = "yellowed"
name = "yellowed"

[[scales]]
id = "forty"
forms = ["carded", "boxed"]
patterns = ["{grader} {grade}", "{sub}"]
subgrades = ["board", "window", { name = "piece", aliases = ["figure"] }]

[scales.grades]
"40" = 100.0
"34+" = 85
"34" = 80.5
""",
    "venues/harrow-lane.toml": """id = "harrow-lane"
name = "Harrow Lane"
kind = "auction house"
tax_on_premium = true

[[sites]]
country = "GB"
currency = "GBP"
zone = "Europe/London"
language = "en"
host = "harrowlane.example"

[[premiums]]
valid_from = 2015-01-01
tiers = [
  { share = "0.25", up_to = "100" },
  { share = 0.20 },
]

[[fees]]
valid_from = "2015-01-01"
tiers = [{ share = "0.15" }]
fixed = "2.50"
""",
    "lines/tidewardens/line.toml": """id = "tidewardens"
name = "Tidewardens"
aliases = ["TW"]
maker = "marrow-pike"
first_year = 1991
last_year = 1997
packaging = "carded"

[[cards]]
id = "tw-card-2"
name = "second card"
order = 2
year = 1993

[[cards]]
id = "tw-card-1"
name = "first card"
order = 1
width_mm = 152.5
""",
    "lines/tidewardens/characters.csv": """id,name,kind,aliases
harbour-master,Harbour Master,,harbor master;de:Hafenmeister
keeper,"Keeper, old",character,
gull-boat,Gull Boat,vehicle,
""",
    "lines/tidewardens/figures.csv": """id,character,name,aliases
keeper-grey,keeper,grey coat,
keeper-red,keeper,red coat,
""",
    "lines/tidewardens/releases.csv": """id,character,figure,card,year,name,packaging,features,aliases
tw-hm-1,harbour-master,,tw-card-1,,,,,
tw-hm-2,harbour-master,,tw-card-2,,,,card-ca; glow-sticker,
tw-keeper-1,keeper,keeper-red,tw-card-1,1992,,,,
tw-gull,gull-boat,,,,,boxed,,
""",
    "lines/tidewardens/changes.csv": """id,release,name,attribute,known_since
hm-2-short,tw-hm-2,short string,short-string,2019-04-01
""",
    "lines/tidewardens/prototypes.csv": """id,character,stage,finish
hm-shot,harbour-master,first shot,unpainted
""",
    "lines/tidewardens/parts.csv": """id,of,name,kind
hm-lamp,harbour-master,lamp,
""",
}


def as_bytes(**changed):
    """The files as bytes; a keyword argument is not a path, so changes come as {path: text or None}."""
    files = {**FILES, **changed.pop("change", {})}
    return {
        path: text if isinstance(text, bytes) else text.encode() for path, text in files.items() if text is not None
    }
