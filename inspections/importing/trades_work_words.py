"""The trade's words for work, for denial and for plans, one table per language; common practice, no published
source.

A further language is one more `Language` at the end of `LANGUAGES`. A plant adds words of its own by the
setting `remark_words`. Every word is a regular expression, matched without case between the edges of words.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from inspections.models import EventKind

_SHELLS = r"(?:shells?|br?gs?|bearings?|be?a?rings?|halves|liners?|bushe?s?|half|inserts?)"
_CHANGED = r"(?:re(?:pl(?:aced|'?d|cd)?|newed|nwd)|changed|chgd|exchanged)"
_SCHALEN = r"(?:lager(?:halb)?schalen?|halbschalen?|schalen?|lager|buchsen?)"
_GEWECHSELT = r"(?:erneuert|getauscht|gewechselt|ausgetauscht|ausgewechselt|ersetzt)"


@dataclass(frozen=True)
class Language:
    """One language's words.

    Attributes
    ----------
    works : mapping
        kind of work to what says that it was done.
    things : mapping
        kind of work to what names a thing put in: done unless the words after it say not, not yet, or
        ordered.
    samples : mapping
        kind of work to a few of these words as people write them, for a page to show; each must be found.
    denies : str
        not done, not yet, ordered or planned: before the work, at most two words between.
    denies_at : str
        the same right before the work.
    denies_after : str
        of a thing, after it.
    negates : str
        turns the words of `done` round.
    done : str
        of a thing, after it: it was put in, whatever else is said.
    parts : str
        words that begin a clause of their own.
    joins : str
        words that join two clauses where each tells of work.
    everywhere : str
        every bearing of the pump.
    clearances, contacts : str
        what says that a number beside it is a clearance, or a per cent of the length that bears.
    other_gaps : str
        clearances that are not the bearing's vertical one; nothing is read from their clause.
    found, left : str
        measured before the work, or after it.
    bounds : str
        what makes of a number a limit, a target or a plan.
    taken_off : str
        after a length: that so much was taken off, or shims of it taken out.
    doubtful : str
        what may be a slip for a scrape or mean something else; always asked about.
    """

    name: str
    works: Mapping[str, str]
    things: Mapping[str, str]
    samples: Mapping[str, tuple[str, ...]]
    denies: str
    denies_at: str
    denies_after: str
    negates: str
    done: str
    parts: str
    joins: str
    everywhere: str
    clearances: str
    contacts: str
    other_gaps: str
    found: str
    left: str
    bounds: str
    taken_off: str
    doubtful: str = ""


ENGLISH = Language(
    "English",
    works={
        EventKind.SCRAPE: (
            r"(?:re-?)?scr?ape?d(?: in)?|(?:re-?)?scrpd|scraping (?:done|carried out)|hand[-"
            r" ]?(?:fitted|scraped)|"
            r"high spots? (?:removed|dressed|taken (?:off|down))|bedded in|blued (?:and|&) scraped|touched up"
        ),
        EventKind.SHELL_CHANGE: (
            rf"{_SHELLS} (?:(?:was|were|both|all|have been|has been) )?{_CHANGED}|"
            rf"(?:repl(?:aced|'?d|cd)?|renewed|changed|chgd) (?:both |the |all )?{_SHELLS}"
        ),
        EventKind.REBABBITT: (
            r"re-?babb?itt?ed|re-?mett?all?ed|re-?metle?'?d|re-?lined|re-?white-?mett?all?ed|re-?poured|poured"
        ),
        EventKind.SHIM_CHANGE: (
            r"re-?shimmed|shimm?ed|shims? (?:changed|added|removed|taken out|reduced|out)|"
            r"(?:removed|added|took out|changed) (?:[0-9./]+ ?\w* )?shims?"
        ),
        EventKind.JOURNAL_REGRIND: (
            r"(?:journals?|jrnls?|shafts?) (?:re-?ground|ground|re-?machined|turned|chromed|"
            r"polished and ground|metal ?sprayed)|re-?ground"
        ),
        EventKind.ROTOR_CHANGE: (
            r"(?:rotor|shaft|rotating element|cartridge) (?:changed|replaced|repl'?d|renewed|exchanged)"
        ),
        EventKind.PUMP_CHANGE: r"pump (?:changed|replaced|swapped|exchanged)|pump (?:moved|came) (?:from|to)",
    },
    things={
        EventKind.SHELL_CHANGE: rf"(?:new|nu|spare) (?:set of )?{_SHELLS}",
        EventKind.REBABBITT: r"new (?:babbitt?|w/?m|white ?metal)",
        EventKind.ROTOR_CHANGE: r"(?:new|spare) (?:rotor|shaft|rotating element)",
        EventKind.PUMP_CHANGE: r"(?:new|spare|other) pump",
    },
    samples={
        EventKind.SCRAPE: (
            "scraped",
            "re-scraped",
            "scrpd",
            "hand fitted",
            "high spots removed",
            "bedded in",
            "touched up",
        ),
        EventKind.SHELL_CHANGE: (
            "new brgs",
            "nu brgs",
            "new shells fitted",
            "brgs repl'd",
            "renewed both bearings",
            "shells chgd",
        ),
        EventKind.REBABBITT: (
            "rebabbitted",
            "remetalled",
            "re-metled",
            "relined",
            "new white metal",
            "repoured",
        ),
        EventKind.SHIM_CHANGE: ("shimmed", "shims removed", "took out 0.05 shim", "reshimmed"),
        EventKind.JOURNAL_REGRIND: (
            "journal ground",
            "shaft turned",
            "jrnls chromed",
            "metal sprayed shaft ground",
        ),
        EventKind.ROTOR_CHANGE: ("rotor changed", "spare rotor fitted", "new shaft"),
        EventKind.PUMP_CHANGE: ("pump swapped", "spare pump installed", "pump came from"),
    },
    denies=(
        r"not|no(?!\.?"
        r" ?[0-9#])|never|nothing|without|neither|nor|cannot|can't|couldn't|didn't|wasn't|weren't|isn't|"
        r"needs?|needed|requires?|should|must|shall|will|would|could be|may be|to be|to have|to get|to"
        r" fit|if|when|until|unless|due(?! to)|"
        r"ordered|ordering|on order|to order|order for|recommend(?:ed|s)?|propose[sd]?|"
        r"plan(?:ned|s)?(?!"
        r" (?:outage|overhaul|shutdown|stop|maintenance|inspection|service))|schedul(?:e|ed)|next|"
        r"last time|last overhaul|previously|await(?:ing|s)?|waiting for|want(?:ed|s)?|consider|instead"
        r" of|requested|quote for"
    ),
    denies_at=r"last|before|since",
    denies_after=(
        r"not|never|to be|to follow|order(?:ed)?|on"
        r" order|await(?:ed|ing)?|plan(?:ned)?|require[sd]?|needed|necessary|due|"
        r"recommended|proposed|requested|quoted|scheduled|next|deferred|postponed|cancelled|canceled|rejected|refused|received|delivered|"
        r"arrived|in stores?|in stock|unavailable|missing|wanted|should|must|will|could"
        r" not|couldn't|if|when|until"
    ),
    negates=(
        r"not|never|(?:to|should|must|will|would|could not|cannot|couldn't) be(?: \w+){0,2}|weren't|wasn't"
    ),
    done=r"fitted|installed|put in|carried out|done|completed|used",
    parts=r"but|then|instead",
    joins=r"and|&|\+",
    everywhere=r"both(?: ends| brgs| bearings| sides)?|all (?:brgs|bearings)|each end",
    # A lift with a bare count behind it is as well a pump called so.
    clearances=(
        r"cl|clrs?|clearances?|clr?n?ces?|lift"
        r" check|lift(?!\s+[0-9]+\b(?!\s*(?:[.,/]|mm|[uµμ]m|mil|thou)))|play"
    ),
    contacts=r"blue(?:d|ing)?|contact|marking|bearing area",
    other_gaps=(
        r"(?:side|end|axial|thrust|seals?|rings?|impeller|neck|oil ring)[-"
        r" ]*(?:cl|clrs?|clearances?|play|float|gaps?)|end float"
    ),
    found=r"as[- ]found|found|before|a/?f|initial(?:ly)?",
    left=r"as[- ]left|left(?: at)?|after(?:wards)?|a/?l|final(?:ly)?|now|set(?: to| at)?",
    bounds=r"max(?:imum)?|min(?:imum)?|limits?|allow(?:ed|able)|spec(?:ified|ification)?|target|should|required|req'?d|tol(?:erance)?|"
    r"nominal|drawing|design|last (?:time|overhaul)|previous(?:ly)?",
    taken_off=r"(?:taken |took )?(?:off|out)|removed|shims?|taken|of metal|cut",
    doubtful=r"(?:re-?)?scr?app+(?:ed|d)(?: in)?",
)

GERMAN = Language(
    "German",
    works={
        EventKind.SCRAPE: (
            r"(?:nach|ein|auf|aus)?ge?schabt|(?:nach)?schaben (?:erledigt|durchgef(?:\u00fc|ue)hrt)|"
            r"tragbild nachgearbeitet|(?:hohe stellen|hochstellen) (?:entfernt|abgetragen)"
        ),
        EventKind.SHELL_CHANGE: rf"{_SCHALEN} (?:(?:wurden?|beide|alle) )?{_GEWECHSELT}|neu gelagert",
        EventKind.REBABBITT: r"(?:aus|um|auf|ver)gegossen",
        EventKind.SHIM_CHANGE: (
            r"(?:beilagen?|beilageblech|passblech|distanzblech|zwischenlage)[en]*"
            r" (?:entfernt|ge(?:\u00e4|ae)ndert|"
            r"herausgenommen|reduziert|getauscht|angepasst|beigelegt)|unterlegt"
        ),
        EventKind.JOURNAL_REGRIND: (
            r"(?:lagerzapfen|zapfen|wellen?)"
            r" (?:nach|ab|(?:\u00fc|ue)ber)?(?:geschliffen|gedreht|schliffen|verchromt)"
        ),
        EventKind.ROTOR_CHANGE: rf"(?:rotor|l(?:\u00e4|ae)ufer|laufzeug|welle) {_GEWECHSELT}",
        EventKind.PUMP_CHANGE: rf"pumpe {_GEWECHSELT}",
    },
    things={
        EventKind.SHELL_CHANGE: rf"neue[rsn]? {_SCHALEN}|(?:ersatz|reserve)(?:lager|schalen?)",
        EventKind.REBABBITT: r"neues? (?:wei(?:\u00df|ss)metall|wm)",
        EventKind.ROTOR_CHANGE: r"neue[rsn]? (?:rotor|l(?:\u00e4|ae)ufer|laufzeug|welle)",
        EventKind.PUMP_CHANGE: r"neue pumpe|(?:reserve|austausch)pumpe",
    },
    samples={
        EventKind.SCRAPE: ("geschabt", "nachgeschabt", "eingeschabt", "Tragbild nachgearbeitet"),
        EventKind.SHELL_CHANGE: (
            "neue Lagerschalen",
            "Lager erneuert",
            "Schalen getauscht",
            "Ersatzlager eingebaut",
        ),
        EventKind.REBABBITT: ("neu ausgegossen", "neues Wei\u00dfmetall"),
        EventKind.SHIM_CHANGE: ("Beilagen entfernt", "unterlegt"),
        EventKind.JOURNAL_REGRIND: ("Zapfen geschliffen", "Welle nachgeschliffen"),
        EventKind.ROTOR_CHANGE: ("L\u00e4ufer getauscht", "neuer Rotor"),
        EventKind.PUMP_CHANGE: ("Pumpe getauscht", "Reservepumpe eingebaut"),
    },
    denies=(
        r"nicht|nie|keine?[rsnm]?|ohne|weder|muss|m(?:\u00fc|ue)ssen|soll(?:en|ten|te)?|wird|werden|falls|wenn|bei"
        r" bedarf|"
        r"geplante?[rsnm]?|bestellt|empfohlen|vorgesehen|n(?:\u00e4|ae)chste[rsnm]?|anstatt|statt|warten auf"
    ),
    denies_at=r"zuletzt|zuvor|vorher|seit",
    denies_after=r"nicht|nie|bestellt|geplant|erforderlich|n(?:\u00f6|oe)tig|notwendig|vorgesehen|empfohlen|fehlen|fehlt|werden|wird|muss|"
    r"m(?:\u00fc|ue)ssen|soll(?:en|ten|te)?|beim?"
    r" n(?:\u00e4|ae)chste[rnm]|n(?:\u00e4|ae)chste[rsnm]?|unterblieben|entf(?:\u00e4|ae)llt|"
    r"zur(?:\u00fc|ue)ckgestellt|verschoben|angefordert|geliefert|auf lager",
    negates=r"nicht|nie|(?:werden|wird)(?: \w+){0,3}",
    done=r"eingebaut|montiert|eingesetzt|erledigt|durchgef(?:\u00fc|ue)hrt|gesetzt",
    parts=r"aber|sondern|danach|dann",
    joins=r"und|u\.",
    everywhere=r"beide(?: (?:seiten|lager|enden))?|beidseitig|alle lager",
    clearances=r"(?:lager|einbau|lauf|scheitel)?spiele?|(?:lager)?luft",
    contacts=r"trag(?:bild|anteil|fl(?:\u00e4|ae)che)|tuschier(?:t|bild)",
    other_gaps=r"(?:axial|seiten|spalt|dichtungs?)(?:spiele?|luft)",
    found=r"vorher|vorgefunden|angetroffen|vor (?:dem|der) \w+",
    left=r"nachher|danach|hinterlassen|eingestellt|jetzt|nach (?:dem|der) \w+",
    bounds=r"max(?:imal)?|min(?:destens|imal)?|grenz(?:e|wert|ma(?:\u00df|ss))|zul(?:(?:\u00e4|ae)ssig\w*)?|soll(?:wert|ma(?:\u00df|ss))?|toleranz|"
    r"letztes mal|zuletzt",
    taken_off=r"abgenommen|abgetragen|entfernt|weg|beilagen?",
)

LANGUAGES = (ENGLISH, GERMAN)
