"""A catalogue of one line with what valuing must tell apart: cards, a running change, features, parts, a grader."""

import pytest

from hangtab.catalogue.reading import read_catalogue

FILES = {
    "catalogue.toml": 'name = "Test"\n[makers.marrow-pike]\nname = "Marrow & Pike"\n',
    "features.csv": "id,kind,name,line,transplantable,aliases\n"
    "territory-b,territory,bilingual card,,no,\nglow-sticker,sticker,glow sticker,,yes,\n",
    "graders/northgate.toml": 'id = "northgate"\nname = "Northgate"\n'
    '[[qualifiers]]\nid = "yellowed"\nname = "yellowed"\n'
    '[[scales]]\nid = "forty"\nforms = ["carded"]\npatterns = ["{grader} {grade}"]\n'
    '[scales.grades]\n"32" = 60.0\n"34" = 70.0\n"36" = 80.0\n',
    "lines/tidewardens/line.toml": 'id = "tidewardens"\nname = "Tidewardens"\nmaker = "marrow-pike"\n'
    'first_year = 1991\nlast_year = 1997\npackaging = "carded"\n'
    '[[cards]]\nid = "tw-1"\nname = "first card"\norder = 1\nyear = 1991\n'
    '[[cards]]\nid = "tw-2"\nname = "second card"\norder = 2\nyear = 1993\n',
    "lines/tidewardens/characters.csv": "id,name,kind,aliases\nharbour-master,Harbour Master,character,\n",
    "lines/tidewardens/releases.csv": "id,character,figure,card,year,name,packaging,features,aliases\n"
    "hm-1,harbour-master,,tw-1,1991,,,territory-b,\nhm-2,harbour-master,,tw-2,1993,,,territory-b;glow-sticker,\n",
    "lines/tidewardens/changes.csv": "id,release,name,attribute,known_since,aliases\n"
    "hm-2-short,hm-2,short string,short-string,2023-05-01,\n",
    "lines/tidewardens/prototypes.csv": "id,character,stage,finish,name,aliases\n"
    "hm-shot,harbour-master,first shot,unpainted,first shot,\n",
    "lines/tidewardens/parts.csv": "id,of,name,kind,aliases\nhm-lamp,harbour-master,lamp,accessory,\n",
}


@pytest.fixture(scope="session")
def catalogue():
    return read_catalogue({path: text.encode() for path, text in FILES.items()})
