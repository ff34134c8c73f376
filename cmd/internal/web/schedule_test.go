package web

import (
	"io/fs"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestNoPatientAtServer: of a schedule with a patient in it that is taken, refused, too long or meets a failure, no byte of
// the patient is in an answer, in the log or in any file of the folder, while the server runs and after.
func TestNoPatientAtServer(t *testing.T) {
	f := newFailing(t)
	const who = "ZQXNAME"
	message := "MSH|^~\\&|||||20260302100000||SIU^S12|1|P|2.5.1\rSCH|P-7|K-7|||||" + who + "||||^^^202603040700\rPID|1||" + who +
		"^^^MR||" + who + "^" + who + "||19620219|F|||Street " + who + "||(555)" + who + "\rAIG|1|A|" + who + "\rAIP|1|A|" + who + "\r"
	table := "case;start;patient;phone\nK-8;2026-03-04 07:30;" + who + ";" + who + "\n"
	appointment := `{"resourceType":"Appointment","id":"K-9","status":"booked","start":"2026-03-04T07:30:00Z","participant":[{"actor":` +
		`{"reference":"Patient/` + who + `","display":"` + who + `"}}],"comment":"` + who + `"}`
	post := func(body string, want int) {
		t.Helper()
		r := httptest.NewRequest(http.MethodPost, "/api/schedule?operator=engine", strings.NewReader(body))
		w := httptest.NewRecorder()
		f.ServeHTTP(w, r)
		if w.Code != want || strings.Contains(w.Body.String(), who) {
			t.Errorf("%d: %s, want %d", w.Code, w.Body, want)
		}
	}
	for _, body := range []string{message, table, appointment} {
		post(body, http.StatusOK)
	}
	size := f.site.Size()
	for _, body := range []string{
		strings.Replace(message, "|K-7|", "|"+who+" "+who+"|", 1), strings.Replace(message, "202603040700", who, 1),
		strings.Replace(table, "2026-03-04 07:30", who, 1), strings.Replace(table, "K-8", who+" "+who, 1), "{" + who,
		strings.Replace(appointment, "2026-03-04T07:30:00Z", who, 1), who, table + strings.Repeat(who+";", 16<<20/8),
	} {
		post(body, http.StatusUnprocessableEntity)
	}
	if f.site.Size() != size {
		t.Errorf("%d records of what was refused", f.site.Size()-size)
	}
	look := func() {
		t.Helper()
		err := filepath.WalkDir(f.dir, func(path string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() {
				return err
			}
			raw, err := os.ReadFile(path)
			if strings.Contains(string(raw), who) || strings.Contains(string(raw), "19620219") {
				t.Errorf("%s has it", path)
			}
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	look()
	f.loseTables(t)
	post(strings.Replace(message, "|K-7|", "|K-77|", 1), http.StatusInternalServerError)
	look()
	if strings.Contains(f.log.String(), who) || f.log.Len() == 0 {
		t.Errorf("the log: %s", f.log.String())
	}
}
