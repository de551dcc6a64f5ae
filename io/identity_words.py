"""Word lists for `identity`: what names a person, and what looks like a name in an operating theatre but is none.

Lists from memory and from common practice, without a source. They are short on purpose: a given name that is
also an ordinary word, or a word of the trade (Mark, Grace, Art, Will, Max), is left out.
"""

from __future__ import annotations

from typing import Final


def _words(*texts: str) -> frozenset[str]:
    return frozenset(word for text in texts for word in text.split())


TITLES: Final = _words(
    "mr mrs ms miss mister dr doctor prof professor herr frau mme mlle monsieur madame sra signor signora",
    "sig dott",
    "dottor dottoressa señor señora senhor senhora hr fru sir dame pd",
)
"""Whoever is addressed so has a name behind it."""

BETWEEN_TITLES: Final = _words("med dent univ habil phil rer nat")

ROLES: Final = _words(
    "patient patientin pat pt name names surname lastname forename firstname vorname nachname",
    "familienname nom prenom",
    "prénom apellido apellidos cognome nome surgeon operator anaesthetist anesthetist anaesthesiologist",
    "anesthesiologist perfusionist assistant nurse technician consultant registrar physician chirurg",
    "chirurgin",
    "operateur anästhesist anästhesistin kardiotechniker kardiotechnikerin perfusionniste chirurgien",
    "anesthésiste",
    "signed signature witness subject recordist",
)
"""A name may stand behind these, with or without a colon."""

SPELT_NAMES: Final = _words(
    "name names surname lastname forename firstname vorname nachname familienname nom prenom prénom",
    "apellido apellidos",
    "cognome nome",
)
"""Behind these and a colon whatever stands there is a name, whatever its capitals."""

WEAK: Final = _words("by with from to called asked told tell thanks handover replaced seen for")
"""Behind these a capital may be a name: listed for a person to look at."""

PARTICLES: Final = _words(
    "von van der den de del della di da do dos du la le les el al bin ben ibn ter ten zu zur af av"
)

EPONYM_TAILS: Final = _words(
    "procedure operation technique repair formula sign clamp needle manoeuvre maneuver catheter retractor",
    "position",
    "method equation effect cannula stitch suture graft valve shunt anastomosis tube drain class score",
    "index law curve",
    "forceps loop node bundle patch approach incision circuit mode",
)
"""A name before one of these is that of a thing."""

GIVEN_NAMES: Final = _words(
    # English
    "james john robert michael william david richard joseph thomas charles christopher daniel matthew",
    "anthony",
    "steven stephen andrew kenneth joshua kevin brian george edward ronald timothy jason jeffrey gary",
    "nicholas",
    "jonathan justin brandon benjamin samuel gregory alexander patrick raymond dennis tyler aaron jose adam",
    "nathan zachary douglas kyle noah ethan jeremy walter keith roger harold terry gerald carl arthur",
    "lawrence",
    "mary patricia jennifer linda elizabeth barbara susan jessica sarah karen lisa nancy betty sandra",
    "margaret ashley",
    "kimberly emily donna michelle dorothy melissa deborah stephanie rebecca sharon laura cynthia",
    "kathleen helen amy",
    "shirley anna brenda pamela nicole samantha katherine catherine christine emma debra rachel carolyn",
    "janet maria",
    "diane julie joyce victoria kelly christina joan evelyn judith megan andrea hannah jacqueline martha",
    "gloria teresa",
    "sara janice julia kathryn alice",
    "judy sophia denise marilyn danielle beverly isabella theresa diana natalie brittany charlotte marie",
    "kayla alexis",
    "oliver harry alfie freddie archie oscar henry jacob lucas logan mohammed muhammad ahmed ali hassan",
    "hussein ibrahim",
    "fatima aisha khadija omar yusuf",
    # German, Dutch, Nordic
    "hans peter klaus jürgen juergen dieter manfred wolfgang uwe stefan andreas matthias thorsten torsten",
    "markus",
    "sebastian tobias florian lukas jonas felix niklas heinz helmut horst günter guenter gerhard werner",
    "bernd ralf",
    "ursula monika petra sabine renate brigitte ingrid heike angelika claudia birgit katrin kathrin silke",
    "anja",
    "johanna lena leonie greta heidi gisela hannelore elke beate annette",
    "pieter willem hendrik johannes jeroen sander bas anneke marieke saskia lieke femke",
    "lars erik bjorn björn anders magnus henrik mikael ingeborg astrid sigrid solveig kirsten karin",
    # French, Italian, Spanish, Portuguese
    "jean-pierre pierre jacques françois francois michel philippe laurent olivier thierry antoine baptiste",
    "camille chloé chloe manon aurélie aurelie sylvie nathalie isabelle monique françoise francoise",
    "giovanni giuseppe francesco alessandro lorenzo matteo giorgio paolo luca marco giulia francesca chiara",
    "valentina elisabetta lucia carlos miguel antonio manuel francisco javier alejandro fernando",
    "diego pablo carmen isabel pilar dolores rosario mercedes joão joao paulo pedro ines inês beatriz",
    # Slavic, Greek, Turkish, Indian, East Asian
    "piotr krzysztof andrzej tomasz pawel paweł agnieszka katarzyna malgorzata małgorzata ewa ivan dmitri",
    "sergei",
    "vladimir olga svetlana tatiana natalia jiri jiří petr tomas tomáš katerina georgios dimitrios",
    "nikolaos eleni",
    "mehmet mustafa ahmet ayse ayşe fatma raj rajesh amit priya anil sunita sanjay deepak anjali lakshmi",
    "hiroshi takashi kenji yuki yoko haruto wei ming xiao jing hyun minh nguyen",
)

CLINICAL: Final = _words(
    # what is measured and where
    "pressure pressures line lines flow flows temperature temp temps saturation sat sats oxygen",
    "oxygenation rate heart",
    "pump blood volume level reservoir wave waves trace traces signal channel mean systolic diastolic",
    "systole diastole",
    "arterial artery arteries venous vein veins central pulmonary radial femoral axillary brachial aortic",
    "aorta carotid",
    "left right upper lower outlet inlet inflow outflow nasopharyngeal bladder oesophageal esophageal",
    "rectal tympanic",
    "skin core cerebral frontal regional peripheral invasive cuff wedge atrial atrium ventricle",
    "ventricular mitral",
    "tricuspid valve valves root arch ascending descending septum septal coronary ostium ostia innominate",
    "subclavian",
    "jugular neck groin leg legs arm arms head chest sternum sternal pericardium pericardial pleura",
    "pleural lung lungs",
    "brain body spine kidney liver bowel limb limbs abdomen abdominal thorax thoracic pleth plethysmogram",
    "respiration",
    "resp breathing haemoglobin hemoglobin haematocrit hematocrit lactate glucose potassium sodium",
    "calcium magnesium",
    "base excess gas gases sample samples sampled result results point value values unit units zero",
    "zeroed zeroing",
    "calibrated calibration transducer transducers sensor sensors probe probes monitor monitors oximeter",
    "oximetry",
    "recorder recorders machine circuit oxygenator heater cooler filter vent vents venting sucker suckers",
    "cardiotomy",
    "cannula cannulas cannulae cannulation cannulated cannulate decannulated decannulation snare snared",
    "clamp clamps",
    "clamped unclamped unclamp cross crossclamp cross-clamp air bubble bubbles drain drains drained drainage",
    # what is done
    "bypass cooling cool cooled rewarming rewarm rewarmed warming warm warmed arrest circulatory",
    "circulation perfusion",
    "perfused antegrade retrograde selective deep hypothermia hypothermic normothermia normothermic",
    "cardioplegia plegia",
    "dose doses bolus infusion infusing started start starting starts stop stops stopped stopping ended",
    "end ending",
    "began begin begins on off up down full half partial total weaning wean weaned going coming",
    "established reflow",
    "reperfusion ischaemia ischaemic ischemia ischemic time times clock minute minutes second seconds",
    "hour hours",
    "induction intubation intubated extubated incision saw sternotomy thoracotomy skin closure closed",
    "closing opened",
    "open opening graft grafts grafted anastomosis distal proximal suture sutured sutures repair repaired",
    "replaced",
    "replacement shock shocks shocked defibrillated fibrillation fibrillating pacing paced pacer sinus",
    "rhythm ectopic",
    "ectopics block asystole beat beats beating pulse pulseless ablation",
    "balloon echo echocardiography tee toe doppler transfusion transfused transfuse platelets plasma",
    "fresh frozen red",
    "cells packed cryo cryoprecipitate albumin crystalloid colloid mannitol",
    # drugs
    "heparin heparinised heparinized protamine propofol fentanyl sufentanil remifentanil midazolam",
    "ketamine etomidate",
    "rocuronium vecuronium cisatracurium sevoflurane isoflurane desflurane noradrenaline norepinephrine",
    "adrenaline",
    "epinephrine phenylephrine vasopressin dopamine dobutamine milrinone levosimendan nitroglycerin",
    "glyceryl trinitrate",
    "nitroprusside esmolol amiodarone lidocaine lignocaine atropine ephedrine metaraminol insulin",
    "tranexamic aprotinin",
    "fibrinogen antithrombin bivalirudin calcium chloride gluconate bicarbonate furosemide frusemide",
    "cefazolin",
    "cefuroxime vancomycin methylprednisolone dexamethasone hydrocortisone methylene blue thiopental",
    "thiopentone",
    "dexmedetomidine morphine suxamethonium nitric oxide iloprost inotrope inotropes",
    "vasopressor vasopressors",
    "antibiotic antibiotics act acts aptt inr",
    # eponyms of things, formulas, places of the body, and of the trade
    "swan ganz bois dubois mosteller haycock gehan boyd schlich trendelenburg valsalva seldinger foley",
    "bentall",
    "ross cabrol dor maze fontan glenn norwood rastelli senning mustard jatene kirklin hegar dakin ringer",
    "hartmann",
    "fick starling frank laplace poiseuille reynolds hill severinghaus purkinje his wolff parkinson white",
    "allen",
    "teichholz simpson stewart hamilton windkessel celsius fahrenheit kelvin pascal bland altman cohen",
    "fleiss",
    "krippendorff kaplan meier apgar glasgow mallampati cormack lehane carrel blalock taussig potts",
    "waterston",
    # who and where
    "patient patients surgeon surgeons perfusionist perfusionists anaesthetist anaesthetists anesthetist",
    "anesthetists",
    "anaesthesia anesthesia anaesthesiologist anesthesiologist nurse nurses scrub runner assistant",
    "consultant registrar",
    "fellow resident student trainee technician operator observer scribe team staff doctor theatre",
    "theater room icu ward",
    "table side bedside hospital clinic unit department handover recorder author role unknown nobody somebody",
)
"""Words of the trade: never a name, whatever their capitals."""

ORDINARY: Final = _words(
    "a an the and or but not no yes ok okay all any both each every one two three four five six seven",
    "eight nine ten",
    "eleven twelve twenty thirty forty fifty sixty first second third last next again still now then here",
    "there this",
    "that these those it its is are was were be been being has had have do does did done can could will",
    "would should",
    "may might must we us our i me my you your he him his she her they them their who what when where why",
    "how if as at",
    "by for from in into of off on out over under to up with without before after about above below since",
    "until while",
    "during between through very too so more less much many some few small large big high higher low",
    "lower good better",
    "bad poor wrong right fine stable unstable normal abnormal slow slowly fast quick quickly late early",
    "long short old",
    "new same other only also just back away top bottom middle please thank thanks watch watching look",
    "looks looking",
    "see seen saw said says say told tell ask asked call called wait waiting need needs needed want give",
    "given gives",
    "giving take taken takes taking put turn turned turning turns move moved moving change changed",
    "changes check",
    "checked checking hold holding keep keeping let lets make made makes come comes came go goes went",
    "gone get gets got",
    "getting run runs running set sets setting show shows showing try tried trying use used using add",
    "added adding",
    "nearly almost ready continue continued continues raise raised raising reduce reduced reducing",
    "increase increased",
    "increasing decrease decreased decreasing drop dropped dropping fall falls falling fell rise rises",
    "rising rose",
    "climbing crept creeping dipped recovered recovering caught stuck folded straight sorted floated",
    "capturing tripped",
    "restarted whole single double side turning seventeen hundred thousand cause because maybe perhaps",
    "probably sure",
    "certain likely",
    # export and file words
    "export exports exported data file files log logs record records recorded recording recordings",
    "session trend trends",
    "case cases captions caption note notes annotation annotations event events marker text table sheet",
    "report copy",
    "demo test example sample samples final draft version part page column row rows header value series",
    "slow fast",
    "numeric numerics waveform waveforms dump raw clean out output input new old",
    "seg segment segments step resolution mixed signals only",
    # calendar and clock
    "january february march april may june july august september october november december jan feb mar",
    "apr jun jul aug",
    "sep sept oct nov dec monday tuesday wednesday thursday friday saturday sunday morning afternoon",
    "evening night",
    "noon midnight today yesterday date day days week am pm utc gmt startdate",
    # German and French of an operating theatre
    "an aus zu auf ab mit ohne und oder nicht kein keine der die das ein eine ist sind war linie druck",
    "fluss temperatur",
    "sättigung klemme kanüle kühlung erwärmung stillstand pumpe kreislauf aorta vene arterie herz hirn",
    "kopf blase",
    "beginn ende blut gabe schnitt naht pression débit arrêt clampage coeur début fin",
)
"""Words that begin sentences or stand in file names."""

VOCABULARY: Final = CLINICAL | ORDINARY | TITLES | ROLES | WEAK | PARTICLES | EPONYM_TAILS
