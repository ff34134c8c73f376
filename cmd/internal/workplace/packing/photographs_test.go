//go:build !race

package packing_test

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"io"
	"mime/multipart"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"listbound/cmd/internal/workplace/workplacetest"
	"listbound/events"
)

// photo is a picture of 60 x 40 pixels in one grey.
func photo(t *testing.T, grey uint8) []byte {
	t.Helper()
	m := image.NewGray(image.Rect(0, 0, 60, 40))
	for i := range m.Pix {
		m.Pix[i] = color.Gray{Y: grey}.Y
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, m, nil); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// sendList sends the form of a list with files, and returns the page that answers.
func sendList(t *testing.T, h *workplacetest.House, fields map[string]string, files map[string][]byte) string {
	t.Helper()
	var body bytes.Buffer
	w := multipart.NewWriter(&body)
	for k, v := range fields {
		if err := w.WriteField(k, v); err != nil {
			t.Fatal(err)
		}
	}
	for k, raw := range files {
		part, err := w.CreateFormFile(k, "IMG_0412.JPG")
		if err == nil {
			_, err = part.Write(raw)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	res, err := http.Post(h.URL+"/lists", w.FormDataContentType(), &body)
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	raw, err := io.ReadAll(res.Body)
	if err != nil {
		t.Fatal(err)
	}
	return string(raw)
}

// hidden is what the page that shows a version before it is issued would send.
func hidden(page, name string) string {
	m := regexp.MustCompile(`(?s)<input type="hidden" name="` + name + `" value="([^"]*)"`).FindStringSubmatch(page)
	if m == nil {
		return ""
	}
	return strings.NewReplacer("&#34;", `"`, "&#39;", "'", "&amp;", "&").Replace(m[1])
}

const threeLines = "line,item,description,quantity\n1,INS-001,\"Forceps, mosquito, curved, 12.5 cm (1)\",4\n" +
	"2,VAS-002,\"Clamp, vascular, angled, 22 cm\",2\n3,VAS-003,\"Probe, olive tip, 14 cm\",3\n"

// TestPhotographsOfLines: a line's photograph comes with the list's form, is part of the version and of its digest, stays with its
// item where a table has no column for it, and is shown where the line is packed, counted and looked up.
func TestPhotographsOfLines(t *testing.T) {
	h := workplacetest.NewHouse(t, "VAS-003")
	if page := h.Get("/lists/VAS-MINOR"); !strings.Contains(page, `name="photo-2"`) {
		t.Fatal("no photograph can be chosen")
	}
	form := map[string]string{"list": "VAS-MINOR", "title": "Vascular, minor", "station": "north/packing-1", "badge": "B-1001",
		"table": threeLines}
	page := sendList(t, h, form, map[string][]byte{"photo-1": []byte("GIF89a"), "photo-2": photo(t, 90)})
	if !strings.Contains(page, "line 1: This is no photograph that can be read here (GIF). Take JPEG or PNG.") {
		t.Error("what is no photograph is taken")
	}
	form["table"] = "item,description,quantity,photo\nA,Clamp,1,clamp.jpg\n"
	if page = sendList(t, h, form, nil); !strings.Contains(page, "line 1: what stands for the photograph is no digest of one") {
		t.Error("a file's name is taken for a photograph")
	}
	form["table"] = threeLines
	page = sendList(t, h, form, map[string][]byte{"photo-2": photo(t, 90), "photo-3": nil})
	form["table"], form["issue"] = hidden(page, "table"), hidden(page, "issue")
	before, err := workplacetest.ListShort().Digest()
	if err != nil {
		t.Fatal(err)
	}
	sendList(t, h, form, nil)
	d := h.Last().Data.(*events.ListIssued)
	digest := d.Lines[1].Photograph
	if d.Version != 2 || len(digest) != 64 || d.Lines[0].Photograph+d.Lines[2].Photograph != "" {
		t.Fatalf("issued %+v", d)
	}
	same := *d
	same.Version = 1
	if after, err := same.Digest(); err != nil || after == before {
		t.Errorf("the photograph is not in the list's digest (%v)", err)
	}
	res, err := http.Get(h.URL + "/photographs/" + digest)
	if err != nil {
		t.Fatal(err)
	}
	res.Body.Close()
	if res.Header.Get("Content-Type") != "image/jpeg" || !strings.Contains(res.Header.Get("Cache-Control"), "immutable") {
		t.Errorf("served as %v", res.Header)
	}
	shownAt(t, h, digest)
	printed(t, h)

	// The department's own table, with one line renamed, takes no photograph away; the form's box does.
	form["table"], form["issue"] = strings.Replace(threeLines, "Probe, olive tip", "Probe", 1), ""
	page = sendList(t, h, form, nil)
	if !strings.Contains(hidden(page, "table"), digest) {
		t.Error("a table without the column takes photographs away")
	}
	form["photo-off-2"] = "1"
	if page = sendList(t, h, form, nil); strings.Contains(hidden(page, "table"), digest) {
		t.Error("the photograph is still there")
	}
	keptBeside(t, h, digest)
}

// shownAt holds that a photograph is shown where its line is packed, counted and looked up.
func shownAt(t *testing.T, h *workplacetest.House, digest string) {
	t.Helper()
	h.Trips["VAS-003"] = h.Record("north/packing-1", events.KindSetPacked, "VAS-003", &events.SetPacked{List: "VAS-MINOR", Version: 2}).Trip
	h.Record("north/or-3", events.KindSetOpened, "VAS-003", &events.SetOpened{Case: "K-1", Tag: "VAS-003"})
	s := &workplacetest.Scanner{House: h, Path: "/at/north/packing-1/packing"}
	h.After(time.Minute)
	bench := fmt.Sprint(s.Scan(workplacetest.Label(t, events.ScanTag, "VAS-003"))["bench"])
	for where, page := range map[string]string{
		"packing": bench, "count": h.Get("/at/north/or-3/count?case=K-1"), "lists": h.Get("/lists/VAS-MINOR"),
	} {
		if !strings.Contains(page, `<img src="/photographs/`+digest+`"`) {
			t.Errorf("%s doesn't show it", where)
		}
	}
}

// printed holds that a list is printed with its photographs, and says that it is no sheet.
func printed(t *testing.T, h *workplacetest.House) {
	t.Helper()
	pdf := h.Get("/print/list.pdf?list=VAS-MINOR")
	text := workplacetest.PDFText(t, []byte(pdf))
	for _, says := range []string{"VAS-MINOR", "nothing is counted on this paper", "no count sheet", "Clamp, vascular", "No photograph"} {
		if !strings.Contains(text, says) {
			t.Errorf("the print does not say %q: %s", says, text)
		}
	}
	if n := strings.Count(pdf, "/DCTDecode"); n != 1 {
		t.Errorf("%d pictures", n)
	}
	if old := h.Get("/print/list.pdf?list=VAS-MINOR&version=1"); strings.Contains(old, "/DCTDecode") {
		t.Error("a version without photographs is printed with one")
	}
}

// keptBeside holds verify to the files: another one is a problem, one that was taken out is told.
func keptBeside(t *testing.T, h *workplacetest.House, digest string) {
	t.Helper()
	path := filepath.Join(h.Site.Dir(), "photographs", digest+".jpg")
	raw, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	check := func(ok bool, says string) {
		t.Helper()
		v, err := h.Site.Verify(t.Context(), nil)
		if err != nil || v.OK != ok || !strings.Contains(fmt.Sprint(v.Problems, v.Remarks), says) {
			t.Errorf("%v, want %v and %q: %+v %v (%v)", v.OK, ok, says, v.Problems, v.Remarks, err)
		}
	}
	check(true, "")
	if err := os.WriteFile(path, append(bytes.Clone(raw), 0), 0o600); err != nil {
		t.Fatal(err)
	}
	check(false, "the photograph of line 2")
	if res, err := http.Get(h.URL + "/photographs/" + digest); err != nil || res.StatusCode != http.StatusNotFound {
		t.Errorf("another file is shown: %v %v", res, err)
	} else {
		res.Body.Close()
	}
	if err := os.Remove(path); err != nil {
		t.Fatal(err)
	}
	check(true, "the photograph of line 2 is not kept here any more")
	if text := workplacetest.PDFText(t, []byte(h.Get("/print/list.pdf?list=VAS-MINOR&lang=de"))); !strings.Contains(text, "aufbewahrt") {
		t.Errorf("a photograph that was taken out: %s", text)
	}
	if err := os.WriteFile(path, raw, 0o600); err != nil {
		t.Fatal(err)
	}
}
