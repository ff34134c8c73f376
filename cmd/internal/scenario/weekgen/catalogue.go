package main

import (
	"fmt"
	"strconv"
	"strings"

	"listbound/events"
)

// catalogue is every instrument of the site: the item id, and what it is called
// on a list. A row "id|description|sizes" stands for one item a size.
const catalogue = `
KNH-003|Knife handle, no. 3, 12.5 cm
KNH-004|Knife handle, no. 4, 13.5 cm
KNH-007|Knife handle, no. 7, 16 cm
KNH-210|Knife handle, no. 3, long, 21 cm
SCS-115|Scissors, iris, curved, 11.5 cm
SCS-116|Scissors, iris, straight, 11.5 cm
SCS-130|Scissors, tenotomy, curved, 13 cm
SCS-140|Scissors, suture, straight, 14 cm
SCS-145|Scissors, Mayo, straight, 14.5 cm
SCS-146|Scissors, Mayo, curved, 14.5 cm
SCS-170|Scissors, Mayo, curved, 17 cm
SCS-180|Scissors, Metzenbaum, curved, 18 cm
SCS-190|Scissors, Potts-Smith, 60 degrees, 19 cm
SCS-191|Scissors, Potts-Smith, 25 degrees, 19 cm
SCS-200|Scissors, Metzenbaum, curved, 20 cm
SCS-230|Scissors, Metzenbaum, curved, 23 cm
SCS-231|Scissors, Mayo, curved, 23 cm
SCS-161|Scissors, wire cutting, 12 cm
SCS-185|Scissors, dura, angled, 18.5 cm
SCS-186|Scissors, micro, straight, 18.5 cm
SCS-187|Scissors, micro, curved, 18.5 cm
SCS-330|Scissors, laparoscopic, curved, 5 mm
TFC-120|Tissue forceps, Adson, plain, 12 cm
TFC-121|Tissue forceps, Adson, toothed 1x2, 12 cm
TFC-122|Tissue forceps, Adson-Brown, 12 cm
TFC-145|Tissue forceps, dressing, plain, 14.5 cm
TFC-146|Tissue forceps, toothed 1x2, 14.5 cm
TFC-150|Tissue forceps, atraumatic, 1.5 mm tip, 15 cm
TFC-180|Tissue forceps, dressing, plain, 18 cm
TFC-181|Tissue forceps, toothed 1x2, 18 cm
TFC-195|Tissue forceps, atraumatic, 2 mm tip, 19.5 cm
TFC-196|Tissue forceps, Russian, 20 cm
TFC-240|Tissue forceps, atraumatic, 2 mm tip, 24 cm
TFC-250|Tissue forceps, dressing, plain, 25 cm
TFC-251|Tissue forceps, toothed 1x2, 25 cm
TFC-300|Tissue forceps, atraumatic, 2.8 mm tip, 30 cm
TFC-16%d|Tissue forceps, bayonet, 0.%d mm tip, 20 cm|5 7 9
TFC-201|Tissue forceps, Gerald, plain, 17.5 cm
TFC-202|Tissue forceps, Gerald, toothed, 17.5 cm
TFC-110|Tissue forceps, ring tip, 1 mm, 18 cm
FCP-125|Forceps, mosquito, curved, 12.5 cm
FCP-126|Forceps, mosquito, straight, 12.5 cm
FCP-140|Forceps, Crile, curved, 14 cm
FCP-141|Forceps, Crile, straight, 14 cm
FCP-150|Forceps, Kocher, straight, toothed, 15 cm
FCP-155|Forceps, Allis, 5x6 teeth, 15.5 cm
FCP-156|Forceps, Babcock, 16 cm
FCP-160|Forceps, Kelly, curved, 16 cm
FCP-161|Forceps, Kelly, straight, 16 cm
FCP-181|Forceps, right angle, delicate, 18 cm
FCP-182|Forceps, tonsil, curved, 19 cm
FCP-185|Forceps, Pean, curved, 18.5 cm
FCP-186|Forceps, Kocher, straight, toothed, 18.5 cm
FCP-190|Forceps, Allis, 5x6 teeth, 19 cm
FCP-200|Forceps, Pean, curved, 20 cm
FCP-201|Forceps, Pean, straight, 20 cm
FCP-205|Forceps, Kocher, curved, toothed, 20 cm
FCP-210|Forceps, Babcock, 21 cm
FCP-220|Forceps, lung grasping, triangular jaw, 20 cm
FCP-228|Forceps, right angle, heavy, 28 cm
FCP-230|Forceps, right angle, 23 cm
FCP-240|Forceps, Pean, curved, 24 cm
FCP-245|Forceps, sponge holding, straight, 24.5 cm
FCP-246|Forceps, sponge holding, curved, 24.5 cm
FCP-251|Forceps, hysterectomy, straight, 22 cm
FCP-252|Forceps, hysterectomy, curved, 22 cm
FCP-253|Forceps, hysterectomy, angled, 24 cm
FCP-255|Forceps, vulsellum, two prong, 25 cm
FCP-256|Forceps, uterine tenaculum, single tooth, 25 cm
FCP-26%d|Forceps, kidney stone, jaw shape %d, 22 cm|1 2 3 4
FCP-270|Forceps, kidney pedicle, curved, 23 cm
FCP-28%d|Forceps, bone reduction, pointed, size %d|1 2 3
FCP-285|Forceps, bone holding, self-centring, 19 cm
FCP-286|Forceps, bone holding, self-centring, 27 cm
FCP-287|Forceps, plate holding, 24 cm
FCP-33%d|Forceps, laparoscopic grasping, jaw %d, 5 mm|1 2 3
FCP-337|Forceps, laparoscopic dissecting, curved, 5 mm
FCP-338|Forceps, laparoscopic claw, 10 mm
FCP-339|Forceps, bipolar, laparoscopic, 5 mm
NHD-130|Needle holder, fine, 13 cm
NHD-150|Needle holder, Mayo-Hegar, 15 cm
NHD-180|Needle holder, Mayo-Hegar, 18 cm
NHD-181|Needle holder, Crile-Wood, 18 cm
NHD-200|Needle holder, Mayo-Hegar, 20 cm
NHD-205|Needle holder, vascular, 20 cm
NHD-230|Needle holder, vascular, 23 cm
NHD-240|Needle holder, Mayo-Hegar, 24 cm
NHD-270|Needle holder, long, 27 cm
NHD-185|Needle holder, micro, curved, 18.5 cm
NHD-330|Needle holder, laparoscopic, 5 mm
TWC-110|Towel clamp, Backhaus, 11 cm
TWC-135|Towel clamp, Backhaus, 13.5 cm
TWC-140|Towel clamp, non-penetrating, 14 cm
RTR-0%d|Retractor, Langenbeck, blade %d mm, 21 cm|30 40 50 70
RTR-16%d|Retractor, double ended, size %d, 16 cm|1 2
RTR-220|Retractor, Farabeuf, pair, 15 cm
RTR-23%d|Retractor, Deaver, size %d, 30 cm|1 2 3 4
RTR-24%d|Retractor, Richardson, size %d|1 2 3
RTR-25%d|Retractor, malleable, width %d0 mm, 33 cm|2 3 4 5
RTR-260|Retractor, self-retaining, Weitlaner, blunt, 16 cm
RTR-261|Retractor, self-retaining, Weitlaner, sharp, 20 cm
RTR-262|Retractor, self-retaining, Gelpi, 18 cm
RTR-263|Retractor, self-retaining, mastoid, 11 cm
RTR-264|Retractor, self-retaining, Adson, hinged, 32 cm
RTR-265|Retractor, Balfour, frame, 20 cm
RTR-266|Retractor, Balfour, centre blade
RTR-267|Retractor, Balfour, side blade
RTR-27%d|Retractor, skin hook, %d prong, 16 cm|1 2 4
RTR-28%d|Retractor, Volkmann, sharp, %d prong, 22 cm|2 3 4 6
RTR-29%d|Retractor, Hohmann, tip %d mm|1 2 3 4
RTR-295|Retractor, vein, 24 cm
RTR-296|Retractor, nerve root, 20 cm
RTR-29B|Retractor, brain spatula, 13 mm
RTR-29C|Retractor, brain spatula, 16 mm
RTR-29D|Retractor, brain spatula, 19 mm
RTR-31%d|Retractor, rib spreader, size %d|1 2
RTR-315|Retractor, rib approximator, 20 cm
RTR-316|Retractor, scapula, 27 cm
RTR-317|Retractor, lung, wire, 30 cm
RTR-318|Retractor, bladder, three blades, 20 cm
RTR-319|Retractor, bladder blade, spare
RTR-32%d|Retractor, vaginal, Sims, size %d|1 2 3
RTR-325|Retractor, vaginal speculum, weighted
RTR-40%d|Frame retractor, ring segment %d|1 2 3 4
RTR-405|Frame retractor, table post
RTR-406|Frame retractor, post clamp
RTR-407|Frame retractor, cross bar
RTR-408|Frame retractor, ratchet
RTR-41%d|Frame retractor, blade, Richardson, %d0 mm|5 6 7 8
RTR-42%d|Frame retractor, blade, malleable, %d0 mm|3 5 7
RTR-43%d|Frame retractor, blade, bladder, size %d|1 2
RTR-435|Frame retractor, hexagonal key
RTR-436|Frame retractor, wing nut
SUC-0%02d|Suction tube, Yankauer, %d cm|28
SUC-1%02d|Suction tube, Poole, outer sleeve, %d cm|23
SUC-130|Suction tube, Poole, inner cannula
SUC-2%02d|Suction tube, Frazier, %d Fr|5 6 7 8 9 10 12
SUC-250|Suction tube stylet
SUC-330|Suction and irrigation tube, laparoscopic, 5 mm
ELV-10%d|Elevator, periosteal, width %d mm|3 6 9
ELV-11%d|Elevator, Cobb, size %d|1 2 3
ELV-120|Elevator, Freer, double ended, 19 cm
ELV-121|Elevator, Langenbeck, 19 cm
ELV-122|Elevator, rib, right
ELV-123|Elevator, rib, left
ELV-124|Elevator, Adson, curved, 17 cm
DIS-10%d|Dissector, Penfield, no. %d|1 2 3 4 5
DIS-11%d|Dissector, micro, angle %d0 degrees|2 4 6 9
DIS-120|Dissector, dura, 20 cm
DIS-121|Dissector, Watson-Cheyne, 18 cm
DIS-122|Dissector, MacDonald, 19 cm
HOK-10%d|Hook, dura, %d mm|3 5
HOK-110|Hook, nerve, blunt, 22 cm
HOK-111|Hook, nerve, sharp, 22 cm
HOK-112|Hook, crypt, 20 cm
HOK-113|Hook, bone, sharp, 23 cm
HOK-330|Hook, diathermy, laparoscopic, 5 mm
RNG-11%d|Rongeur, Kerrison, up cutting, %d mm|1 2 3 4 5
RNG-12%d|Rongeur, Kerrison, down cutting, %d mm|2 3
RNG-130|Rongeur, double action, curved, 23 cm
RNG-131|Rongeur, double action, straight, 24 cm
RNG-132|Rongeur, pituitary, straight, 2 mm
RNG-133|Rongeur, pituitary, upward, 2 mm
RNG-134|Rongeur, pituitary, straight, 4 mm
RNG-135|Rongeur, fine, curved, 15 cm
RNG-140|Bone cutter, double action, straight, 19 cm
RNG-141|Bone cutter, angled, 23 cm
RNG-142|Rib shears, 34 cm
RNG-143|Rib cutter, guillotine, first rib
CUR-10%d|Curette, Volkmann, size %d|0 1 2 3
CUR-11%d|Curette, uterine, sharp, size %d|1 2 3
CUR-12%d|Curette, bone, angled, size %d|1 2 3 4
CUR-13%d|Curette, ring, micro, %d mm|3 5 7
OST-1%02d|Osteotome, straight, %d mm|6 8 10 13 16 20 25
OST-2%02d|Chisel, straight, %d mm|6 10 15 20
OST-3%02d|Gouge, straight, %d mm|6 10 15
MAL-100|Mallet, 300 g
MAL-101|Mallet, 500 g
BIN-120|Drill bit, quick coupling, 2.0 mm
BIN-125|Drill bit, quick coupling, 2.5 mm
BIN-127|Drill bit, quick coupling, 2.7 mm
BIN-132|Drill bit, quick coupling, 3.2 mm
BIN-135|Drill bit, quick coupling, 3.5 mm
BIN-145|Drill bit, quick coupling, 4.5 mm
BIN-200|Drill guide, double, 2.5 and 3.5 mm
BIN-201|Drill guide, double, 3.2 and 4.5 mm
BIN-202|Tap, 3.5 mm
BIN-203|Tap, 4.5 mm
BIN-204|Tap, 6.5 mm
BIN-205|Depth gauge, small
BIN-206|Depth gauge, large
BIN-207|Screwdriver, hexagonal, 2.5 mm
BIN-208|Screwdriver, hexagonal, 3.5 mm
BIN-209|Screw holding sleeve
BIN-210|Countersink, small
BIN-211|Countersink, large
BIN-212|Bending iron, pair, left
BIN-213|Bending iron, pair, right
BIN-214|Bending template, 7 holes
BIN-215|Tension device, articulated
BIN-216|Wire passer, 45 mm
BIN-217|Wire tightener
BIN-218|Pliers, flat nose, 18 cm
BIN-219|Wire cutter, side cutting, 22 cm
BIN-220|T-handle, quick coupling
BIN-221|Guide wire, 2 mm, 28 cm
BIN-222|Socket wrench, 11 mm
BIN-230|Saw handle, wire saw
BIN-231|Ruler, steel, 15 cm
BIN-232|Caliper, 10 cm
BIN-233|Measuring device, wire length
VCL-10%d|Vascular clamp, bulldog, straight, size %d|1 2 3
VCL-11%d|Vascular clamp, bulldog, curved, size %d|1 2 3
VCL-12%d|Vascular clamp, Satinsky, size %d|1 2 3
VCL-13%d|Vascular clamp, aortic, angled %d0 degrees|3 6 9
VCL-14%d|Vascular clamp, peripheral, angle %d0 degrees|2 4 6
VCL-150|Vascular clamp, aortic, straight, 26 cm
VCL-151|Vascular clamp, aortic, curved, 26 cm
VCL-152|Vascular clamp, spoon, 19 cm
VCL-153|Vascular clamp, carotid, 21 cm
VCL-154|Vascular clamp, shunt, 14 cm
VCL-160|Clip applier, medium, 20 cm
VCL-161|Clip applier, large, 27 cm
VCL-162|Clip applier, bulldog clip, 21 cm
VCL-17%d|Vessel dilator, %d mm|1 2 3 4 5
VCL-180|Tunnelling rod, 6 mm
VCL-181|Tunnelling rod, 8 mm
VCL-182|Endarterectomy stripper, ring 6 mm
VCL-183|Endarterectomy dissector, double ended
VCL-184|Arteriotomy punch, 4 mm
VCL-185|Heparin needle, olive tip, 3 mm
VCL-186|Heparin needle, olive tip, 4 mm
ICL-10%d|Intestinal clamp, Doyen, %d|1 2
ICL-110|Intestinal clamp, Kocher, straight, 25 cm
ICL-111|Bronchus clamp, angled, 24 cm
ICL-112|Crushing clamp, Payr, 21 cm
ICL-113|Crushing clamp, Payr, 29 cm
PRB-100|Probe, malleable, silver, 14 cm
PRB-101|Probe, director, grooved, 16 cm
PRB-102|Sound, uterine, graduated, 32 cm
PRB-2%02d|Dilator, uterine, Hegar, %d mm|3 4 5 6 7 8 9 10
PRB-3%02d|Sound, urethral, curved, %d Fr|16 18 20 22 24
PRB-130|Trocar, gallbladder aspirating, 14 cm
PRB-131|Catheter introducer, 38 cm
LSC-100|Trocar sleeve, 5 mm
LSC-101|Trocar sleeve, 10 mm
LSC-102|Obturator, pyramidal, 5 mm
LSC-103|Obturator, pyramidal, 10 mm
LSC-104|Reducer, 10 to 5 mm
LSC-105|Insufflation needle, 12 cm
LSC-106|Clip applier, laparoscopic, medium large
LSC-107|Light cable
LSC-108|Diathermy cable, monopolar
LSC-109|Diathermy cable, bipolar
LSC-110|Knot pusher, 5 mm
LSC-111|Fan retractor, 10 mm
LSC-112|Specimen extractor sleeve, 12 mm
CRN-100|Perforator handle
CRN-101|Perforator bit, 13 mm
CRN-102|Burr, spherical, 9 mm
CRN-103|Burr, spherical, 13 mm
CRN-104|Hand drill with chuck
CRN-105|Chuck key
CRN-106|Wire saw, 50 cm
CRN-107|Wire saw guide
CRN-108|Scalp clip applier
CRN-109|Scalp clip remover
CRN-110|Bone flap holder
CRN-111|Self-retaining arm, flexible
CRN-112|Self-retaining arm clamp
CRN-113|Aneurysm clip applier, straight
CRN-114|Aneurysm clip applier, angled
CRN-115|Ventricular needle, 9 cm
CRN-116|Bipolar forceps, bayonet, 0.5 mm tip
CRN-117|Bipolar forceps, bayonet, 1 mm tip
CRN-118|Bipolar forceps, bayonet, 2 mm tip
CRN-119|Bipolar cable
CRN-120|Tumour forceps, cup, 3 mm
CRN-121|Tumour forceps, cup, 5 mm
CRN-122|Mirror, micro, 5 mm
CRN-123|Drill guard, 11 mm
BWL-100|Bowl, steel, 0.5 l
BWL-101|Kidney dish, steel, 25 cm
BWL-102|Gallipot, 100 ml
BWL-103|Instrument pin, holding rings, 15 cm
BWL-104|Light handle, cover
`

// kinds are the site's lists. "ITEM*n" is a line of that item and quantity;
// "PREFIX~*n" is one such line for each item whose id begins with the prefix.
var kinds = []struct {
	list, title string
	version     int64
	sets        string // prefix of the set ids
	count       int
	bay         string   // where its sets stand in the sterile storage
	placements  []string // of set 1, 2, 3 …; the last one holds for the rest
	cycles      []string // empty: any
	lines       string
}{
	{"LAP-MAJOR", "Laparotomy, major", 1, "LAP", 14, "A", []string{"outside"},
		[]string{"dynamic-air-132", "dynamic-air-134"}, `
		KNH-003*2 KNH-004*2 KNH-210*1 SCS-140*1 SCS-145*1 SCS-146*1 SCS-170*1 SCS-180*2 SCS-200*1 SCS-230*1
		TFC-121*2 TFC-145*2 TFC-146*2 TFC-180*2 TFC-181*2 TFC-195*2 TFC-240*2 TFC-250*1 TFC-251*1
		FCP-125*6 FCP-140*10 FCP-141*6 FCP-150*4 FCP-155*6 FCP-156*4 FCP-160*6 FCP-161*4 FCP-185*8 FCP-186*4
		FCP-190*2 FCP-200*6 FCP-201*4 FCP-205*2 FCP-210*2 FCP-181*2 FCP-230*2 FCP-245*4 FCP-246*2
		NHD-180*2 NHD-200*2 NHD-240*2 TWC-110*6 TWC-135*4
		RTR-030*2 RTR-040*2 RTR-050*2 RTR-220*2 RTR-23~*1 RTR-24~*1 RTR-252*1 RTR-254*1 RTR-265*1 RTR-266*1 RTR-267*2
		ICL-101*2 ICL-102*2 ICL-110*2 ICL-112*2 ICL-113*2 PRB-130*1 SUC-028*1 SUC-123*1 SUC-130*1 PRB-100*1
		PRB-101*1 BWL-101*2 BWL-102*2 BWL-103*2`},
	{"MIN-BASIC", "Minor, basic", 3, "MIN", 16, "A",
		[]string{"inside-bag", "inside-bag", "inside-bag", "inside-bag", "outside", "outside", "outside", "outside",
			"inside-bare", "inside-bare", "screen", "screen", "outside"}, nil, `
		KNH-003*1 KNH-004*1 SCS-116*1 SCS-145*1 SCS-146*1 SCS-180*1 TFC-120*1 TFC-121*2 TFC-145*1 TFC-146*1
		FCP-125*6 FCP-126*4 FCP-140*4 FCP-150*2 FCP-155*4 NHD-150*1 NHD-180*1 TWC-110*4 RTR-161*1 RTR-162*1
		RTR-271*2 RTR-272*2
		FCP-245*1 PRB-101*1 BWL-102*1 BWL-103*1`},
	{"ORT-LARGE", "Orthopaedic, large bone", 2, "ORL", 7, "C", []string{"outside"}, []string{"dynamic-air-134"}, `
		KNH-004*2 SCS-146*1 SCS-170*1 SCS-161*1 TFC-146*2 TFC-181*2 FCP-140*6 FCP-150*6 FCP-155*4 NHD-180*2 TWC-135*6
		RTR-050*2 RTR-070*2 RTR-28~*2 RTR-291*2 RTR-292*2 RTR-293*2 RTR-294*2 RTR-261*2 RTR-262*2 ELV-10~*1
		ELV-11~*1 ELV-121*1
		FCP-28~*1 BIN-1~*2 BIN-20~*1 BIN-21~*1 BIN-22~*1 BIN-23~*1 HOK-113*1 CUR-10~*1 OST-1~*1 OST-2~*1
		OST-3~*1 CUR-12~*1
		MAL-101*1 RNG-130*1 RNG-140*1 RNG-141*1 SUC-028*1 BWL-100*1 BWL-101*1`},
	{"ORT-SMALL", "Orthopaedic, hand and foot", 2, "ORS", 11, "C",
		[]string{"inside-bag", "inside-bag", "outside"}, nil, `
		KNH-003*2 KNH-007*1 SCS-115*1 SCS-116*1 SCS-130*1 SCS-146*1 SCS-161*1 TFC-120*2 TFC-121*2 TFC-122*1
		FCP-125*8 FCP-126*4 FCP-140*4 FCP-155*2 NHD-130*1 NHD-150*1 TWC-110*6 RTR-161*2 RTR-162*2 RTR-271*2
		RTR-272*2 RTR-274*2 RTR-263*2 RTR-030*2 RTR-291*2
		ELV-120*1 ELV-103*1 RNG-135*1 CUR-100*1 CUR-101*1 OST-106*1 OST-108*1 OST-206*1 MAL-100*1 FCP-281*2
		BIN-120*2 BIN-231*1 BIN-218*1 SUC-208*1 BWL-102*2`},
	{"VAS-MAJOR", "Vascular, major", 5, "VAS", 8, "B", []string{"outside"},
		[]string{"dynamic-air-132", "dynamic-air-134"}, `
		KNH-003*2 KNH-004*1 KNH-007*2 SCS-145*1 SCS-146*1 SCS-180*2 SCS-190*1 SCS-191*1 SCS-200*1 SCS-230*1
		TFC-121*2 TFC-146*2 TFC-150*4 TFC-195*4 TFC-240*4 TFC-300*2 TFC-110*2
		FCP-125*12 FCP-140*8 FCP-155*4 FCP-181*4 FCP-230*2 FCP-200*4 FCP-245*2 NHD-181*2 NHD-205*2 NHD-230*2
		NHD-240*1 TWC-110*6 TWC-140*4
		VCL-10~*2 VCL-11~*2 VCL-12~*1 VCL-13~*1 VCL-14~*2 VCL-150*2 VCL-151*2 VCL-152*2 VCL-153*1 VCL-154*2
		VCL-16~*1 VCL-17~*1 VCL-18~*1
		RTR-030*2 RTR-050*2 RTR-23~*1 RTR-24~*1 RTR-260*2 RTR-261*2 RTR-262*1 RTR-295*2 DIS-121*1 DIS-122*1
		HOK-110*1 SUC-028*1 SUC-123*1 SUC-130*1 SUC-210*1 SUC-212*1 BWL-101*2 BWL-102*3 BWL-103*2`},
	{"THO-MAIN", "Thoracotomy", 4, "THO", 5, "D", []string{"inside-bag"},
		[]string{"dynamic-air-132", "dynamic-air-134"}, `
		KNH-003*1 KNH-004*2 KNH-210*1 SCS-146*1 SCS-170*1 SCS-200*1 SCS-230*2 SCS-231*1 TFC-146*2 TFC-181*2
		TFC-195*2 TFC-240*2 TFC-251*2 TFC-300*2
		FCP-140*8 FCP-155*4 FCP-182*4 FCP-185*6 FCP-190*4 FCP-200*6 FCP-210*4 FCP-220*4 FCP-228*2 FCP-230*4
		FCP-240*4 FCP-245*4 FCP-246*2
		NHD-200*2 NHD-240*2 NHD-270*2 TWC-135*6 RTR-31~*1 RTR-23~*1 RTR-050*2 RTR-070*2 RTR-252*1 RTR-254*1
		ELV-121*1 ELV-122*1 ELV-123*1 RNG-142*1 RNG-143*1 RNG-130*1 ICL-111*2 VCL-121*1 VCL-122*1 VCL-123*1
		VCL-161*1 HOK-113*1 SUC-028*2 SUC-212*1 BWL-100*1 BWL-101*2 BWL-103*2`},
	{"GYN-ABDO", "Gynaecology, abdominal", 3, "GYN", 8, "B", []string{"outside"}, nil, `
		KNH-003*1 KNH-004*2 KNH-210*1 SCS-145*1 SCS-146*1 SCS-170*1 SCS-200*1 SCS-231*1 TFC-146*2 TFC-181*2
		TFC-195*2 TFC-196*2 TFC-251*2
		FCP-140*8 FCP-150*4 FCP-155*6 FCP-156*4 FCP-185*6 FCP-186*6 FCP-200*4 FCP-245*4 FCP-251*2 FCP-252*4
		FCP-253*2 FCP-255*1 FCP-256*1
		NHD-200*2 NHD-240*2 TWC-110*6 RTR-030*2 RTR-050*2 RTR-231*1 RTR-233*1 RTR-24~*1 RTR-252*1 RTR-265*1
		RTR-266*1 RTR-267*2 RTR-318*1 RTR-319*1 RTR-32~*1 RTR-325*1
		CUR-11~*1 PRB-102*1 PRB-2~*1 SUC-028*1 SUC-123*1 SUC-130*1 BWL-101*2 BWL-102*1 BWL-103*2`},
	{"URO-OPEN", "Urology, open", 2, "URO", 6, "D",
		[]string{"inside-bag", "inside-bag", "outside", "inside-bag", "outside"}, nil, `
		KNH-003*2 KNH-004*1 SCS-146*1 SCS-170*1 SCS-180*1 SCS-200*1 TFC-121*2 TFC-146*2 TFC-195*2 TFC-240*2
		FCP-125*6 FCP-140*8 FCP-155*4 FCP-156*4 FCP-190*2 FCP-200*4 FCP-230*2 FCP-245*2 FCP-26~*1 FCP-270*2
		NHD-180*2 NHD-200*2 TWC-110*6 RTR-030*2 RTR-050*2 RTR-232*1 RTR-243*1 RTR-253*1 RTR-318*1 RTR-319*2
		PRB-3~*1 PRB-131*1 RTR-295*1 SUC-028*1 SUC-210*1 BWL-101*1 BWL-102*2`},
	{"CRA-MAIN", "Craniotomy", 6, "CRA", 5, "D",
		[]string{"inside-bag", "inside-bag", "inside-bare", "screen", "inside-bag"}, []string{"dynamic-air-134"}, `
		KNH-003*2 KNH-004*1 KNH-007*2 SCS-145*1 SCS-146*1 SCS-180*1 SCS-185*1 SCS-186*1 SCS-187*1
		TFC-120*2 TFC-121*2 TFC-150*2 TFC-16~*1 TFC-20~*1 FCP-125*10 FCP-140*6 FCP-155*6 NHD-150*1 NHD-180*2
		NHD-185*1 TWC-110*8
		RTR-260*2 RTR-264*2 RTR-271*4 RTR-272*2 RTR-296*1 RTR-29B*2 RTR-29C*2 RTR-29D*1
		ELV-103*1 ELV-106*1 ELV-120*1 ELV-124*1 DIS-1~*1 HOK-10~*1 HOK-11~*1 RNG-1~*1 CUR-10~*1 CUR-13~*1
		OST-106*1 MAL-100*1
		SUC-2~*1 CRN-~*1 BIN-231*1 BWL-100*2 BWL-101*2 BWL-102*4 BWL-103*2 BWL-104*2 `},
	{"RET-FRAME", "Retractor frame, abdominal", 1, "RET", 10, "B", []string{"outside"}, nil, `
		RTR-40~*2 RTR-41~*2 RTR-42~*2 RTR-43~*1 RTR-253*1 RTR-255*1`},
	{"LSC-BASIC", "Laparoscopy, basic", 4, "LSC", 8, "D",
		[]string{"inside-bare", "inside-bare", "screen", "screen", "outside"}, []string{"low-temperature-standard"}, `
		KNH-003*1 SCS-146*1 SCS-330*1 TFC-121*2 FCP-125*4 FCP-140*2 FCP-33~*1 NHD-180*1 NHD-330*1 TWC-110*4
		RTR-271*2 RTR-030*2
		LSC-100*2 LSC-101*2 LSC-102*2 LSC-103*1 LSC-104*1 LSC-105*1 LSC-106*1 LSC-107*1 LSC-108*1 LSC-109*1
		LSC-110*1 LSC-111*1 LSC-112*1 HOK-330*1 SUC-330*1 BWL-102*1`},
}

type item struct{ id, description string }

// readCatalogue expands the rows of the catalogue.
func readCatalogue() ([]item, error) {
	var out []item
	seen := make(map[string]bool)
	for row := range strings.Lines(strings.TrimSpace(catalogue)) {
		f := strings.Split(strings.TrimSpace(row), "|")
		var made []item
		switch len(f) {
		case 2:
			made = []item{{f[0], f[1]}}
		case 3:
			for size := range strings.FieldsSeq(f[2]) {
				n, err := strconv.Atoi(size)
				if err != nil {
					return nil, fmt.Errorf("catalogue: size %q of %s is no number", size, f[0])
				}
				made = append(made, item{fmt.Sprintf(f[0], n), fmt.Sprintf(f[1], n)})
			}
		default:
			return nil, fmt.Errorf("catalogue: row %q has %d parts", row, len(f))
		}
		for _, i := range made {
			if seen[i.id] {
				return nil, fmt.Errorf("catalogue: %s stands twice", i.id)
			}
			seen[i.id] = true
			out = append(out, i)
		}
	}
	return out, nil
}

// readLines turns a kind's lines into the numbered lines of its list.
func readLines(items []item, text string) ([]events.Line, error) {
	var out []events.Line
	have := make(map[string]bool)
	for tok := range strings.FieldsSeq(text) {
		pattern, num, ok := strings.Cut(tok, "*")
		q, err := strconv.ParseInt(num, 10, 64)
		if !ok || err != nil {
			return nil, fmt.Errorf("%q is not ITEM*quantity", tok)
		}
		prefix, many := strings.CutSuffix(pattern, "~")
		found := 0
		for _, i := range items {
			if i.id != pattern && (!many || !strings.HasPrefix(i.id, prefix)) {
				continue
			}
			found++
			if have[i.id] {
				continue // named on its own before the prefix
			}
			have[i.id] = true
			out = append(out, events.Line{Line: int64(len(out) + 1), Item: i.id, Description: i.description,
				Quantity: q})
		}
		if found == 0 {
			return nil, fmt.Errorf("%q is not in the catalogue", tok)
		}
	}
	return out, nil
}
