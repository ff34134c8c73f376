package schedule

import (
	"cmp"
	"strings"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
)

// What is read of FHIR R4 resources (hl7.org/fhir/R4/appointment.html). A member that is not named is passed over by the
// decoder and never kept.

type reference struct {
	Reference  string `json:"reference"`
	Type       string `json:"type"`
	Display    string `json:"display"`
	Identifier struct {
		Value string `json:"value"`
	} `json:"identifier"`
}

type appointment struct {
	ID         string `json:"id"`
	Identifier []struct {
		Value string `json:"value"`
	} `json:"identifier"`
	Meta struct {
		LastUpdated string `json:"lastUpdated"`
	} `json:"meta"`
	Status      string `json:"status"`
	Start       string `json:"start"`
	ServiceType []struct {
		Coding []struct {
			Code string `json:"code"`
		} `json:"coding"`
	} `json:"serviceType"`
	SupportingInformation []reference `json:"supportingInformation"`
	Participant           []struct {
		Actor reference `json:"actor"`
	} `json:"participant"`
	Contained []jsontext.Value `json:"contained"`
}

type bundle struct {
	Entry []struct {
		FullURL  string         `json:"fullUrl"`
		Resource jsontext.Value `json:"resource"`
	} `json:"entry"`
}

type location struct {
	ID   string `json:"id"`
	Name string `json:"name"`
}

// fhirReader reads the resources of one file.
type fhirReader struct {
	*reader
	rooms map[string]string // names of locations, by what refers to them
	n     int               // appointments
}

// fhir reads an Appointment, an array of resources, or a Bundle.
func (r *reader) fhir(raw []byte) {
	f := fhirReader{reader: r, rooms: make(map[string]string)}
	var all []jsontext.Value
	one := jsontext.Value(strings.TrimSpace(string(raw)))
	if !one.IsValid() {
		r.wrong(0, "no-json")
		return
	}
	if one.Kind() == '[' {
		_ = json.Unmarshal(one, &all) // its syntax is known to be right
	} else {
		all = []jsontext.Value{one}
	}
	var appointments []jsontext.Value
	for _, x := range all {
		appointments = append(appointments, f.unpack(x, "")...)
	}
	if len(appointments) == 0 {
		r.wrong(0, "no-appointment")
	}
	for _, x := range appointments {
		f.appointment(x)
	}
}

// unpack returns the appointments in a resource, and keeps the names of locations.
func (f *fhirReader) unpack(raw jsontext.Value, url string) (out []jsontext.Value) {
	switch typeOf(raw) {
	case "Appointment":
		return []jsontext.Value{raw}
	case "Location":
		f.location(raw, "Location/", url)
	case "Bundle":
		var b bundle
		if json.Unmarshal(raw, &b) != nil {
			f.wrong(0, "bundle-unread")
		}
		for _, e := range b.Entry {
			// A bundle in a bundle is not looked into: FHIR has none of appointments.
			if t := typeOf(e.Resource); t == "Appointment" || t == "Location" {
				out = append(out, f.unpack(e.Resource, e.FullURL)...)
			}
		}
	}
	return out
}

func typeOf(raw jsontext.Value) string {
	var t struct {
		ResourceType string `json:"resourceType"`
	}
	if raw.Kind() != '{' || json.Unmarshal(raw, &t) != nil {
		return ""
	}
	return t.ResourceType
}

// location keeps the name of a location under what refers to it.
func (f *fhirReader) location(raw jsontext.Value, before, url string) {
	var l location
	if json.Unmarshal(raw, &l) != nil {
		return // then it is called by its id
	}
	name := cmp.Or(l.Name, l.ID)
	if l.ID != "" {
		f.rooms[before+l.ID] = name
	}
	if url != "" {
		f.rooms[url] = name
	}
}

// statuses say what has become of an appointment. One that is only proposed is none yet.
var statuses = map[string]State{"booked": "", "arrived": "", "checked-in": "", "fulfilled": "",
	"cancelled": Cancelled, "noshow": Cancelled, "entered-in-error": Cancelled}

func (f *fhirReader) appointment(raw jsontext.Value) {
	f.n++
	var a appointment
	if json.Unmarshal(raw, &a) != nil {
		f.wrong(f.n, "appointment-unread")
		return
	}
	state, ok := statuses[a.Status]
	if !ok {
		f.out.Passed++
		return
	}
	e := &Entry{Row: f.n, State: state}
	var ids []string
	for _, x := range a.Identifier {
		ids = append(ids, x.Value)
	}
	if e.Case = f.caseOf(append(ids, a.ID)...); e.Case == "" {
		f.wrong(f.n, "appointment-nameless")
		return
	}
	if !f.instant("start", a.Start, &e.Start) || !f.instant("meta.lastUpdated", a.Meta.LastUpdated, &e.Said) {
		return
	}
	for _, x := range a.Contained {
		if typeOf(x) == "Location" {
			f.location(x, "#", "")
		}
	}
	f.resources(&a, e)
	for _, x := range a.Contained {
		if typeOf(x) == "Location" {
			var l location
			_ = json.Unmarshal(x, &l)
			delete(f.rooms, "#"+l.ID) // the next one's are its own
		}
	}
	f.add(e)
}

// resources reads the room and what is wanted. Whoever takes part, and is neither a location nor a device, is passed over.
func (f *fhirReader) resources(a *appointment, e *Entry) {
	var refs []*reference
	for i := range a.Participant {
		refs = append(refs, &a.Participant[i].Actor)
	}
	for i := range a.SupportingInformation {
		refs = append(refs, &a.SupportingInformation[i])
	}
	for _, ref := range refs {
		switch name := f.rooms[ref.Reference]; {
		case name != "" || ref.is("Location"):
			if e.Room == "" {
				e.Room = room(cmp.Or(name, ref.Display, ref.id()))
			}
		case ref.is("Device"), ref.is("DeviceDefinition"):
			w := Wanted{Count: AsCount, Perhaps: true}
			for _, id := range []string{ref.Identifier.Value, ref.id()} {
				if id != "" {
					w.IDs = append(w.IDs, id)
				}
			}
			if len(w.IDs) > 0 {
				e.Wanted = append(e.Wanted, w)
			}
		}
	}
	for _, s := range a.ServiceType {
		for _, c := range s.Coding {
			if c.Code != "" {
				e.Wanted = append(e.Wanted, Wanted{IDs: []string{c.Code}, Count: AsCount, As: AList, Perhaps: true})
			}
		}
	}
}

// is reports whether a reference is to a resource of a type: Location/1, https://example.org/fhir/Location/1, or by its type.
func (ref *reference) is(kind string) bool {
	if ref.Type != "" {
		return ref.Type == kind
	}
	parts := strings.Split(ref.Reference, "/")
	return len(parts) >= 2 && parts[len(parts)-2] == kind
}

func (ref *reference) id() string { return ref.Reference[strings.LastIndexByte(ref.Reference, '/')+1:] }

// instant reads a FHIR instant, which has its zone.
func (f *fhirReader) instant(what, text string, into *time.Time) bool {
	if text == "" {
		return true
	}
	t, err := time.Parse(time.RFC3339, text)
	if err != nil {
		f.wrong(f.n, "no-instant", what)
		return false
	}
	*into = t
	return true
}
