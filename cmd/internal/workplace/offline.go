package workplace

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"fmt"
	"html/template"
	"io/fs"
	"net/http"
	"slices"
	"strings"

	"github.com/go-json-experiment/json"

	"listbound/cmd/internal/shell"
	"listbound/cmd/internal/site"
	"listbound/events"
	"listbound/projections"
)

// A browser keeps the pages of a station for when the server is away. Its service
// worker (assets/sw.js) does that; it asks the server first and answers from what
// it kept only when that is silent. It is served below /at/, so that it answers for
// the pages of stations and for no others.

// worker returns the service worker of one version of the program: another version,
// or other files, makes another text, which is how a browser notices.
func (d *Desk) worker(assets fs.FS) ([]byte, error) {
	text, err := fs.ReadFile(assets, "sw.js")
	if err != nil {
		return nil, fmt.Errorf("the worker's file: %w", err)
	}
	shared, err := shell.Files()
	if err != nil {
		return nil, err
	}
	sum := sha256.New()
	fmt.Fprintln(sum, d.opts.Version)
	var files [][2]string // its name, and what the browser holds its content against
	for _, dir := range []struct {
		prefix string
		files  fs.FS
	}{{d.opts.Prefix + "/workplace/", assets}, {"/assets/", shared}} {
		err := fs.WalkDir(dir.files, ".", func(name string, e fs.DirEntry, err error) error {
			if err != nil || e.IsDir() {
				return err
			}
			raw, err := fs.ReadFile(dir.files, name)
			fmt.Fprintln(sum, name, len(raw))
			sum.Write(raw)
			if name != "sw.js" {
				own := sha256.Sum256(raw)
				files = append(files, [2]string{d.sh.Asset(dir.prefix + name), "sha256-" + base64.StdEncoding.EncodeToString(own[:])})
			}
			return err
		})
		if err != nil {
			return nil, fmt.Errorf("the worker's files: %w", err)
		}
	}
	list, err := json.Marshal(files)
	if err != nil {
		return nil, fmt.Errorf("the worker's files: %w", err)
	}
	const short = 16
	version := d.opts.Version + "-" + hex.EncodeToString(sum.Sum(nil))[:short]
	text = bytes.Replace(text, []byte(`"VERSION"`), fmt.Appendf(nil, "%q", version), 1)
	return bytes.Replace(text, []byte(`["FILES"]`), list, 1), nil
}

func (d *Desk) registerWorker(mux shell.Mux, assets fs.FS) error {
	text, err := d.worker(assets)
	if err != nil {
		return err
	}
	mux.HandleFunc("GET "+d.opts.Prefix+"/at/sw.js", func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Type", "text/javascript; charset=utf-8")
		w.Header().Set("Cache-Control", "no-cache")
		if _, err := w.Write(text); err != nil {
			d.opts.Log.Debug("the worker was not sent", "error", err)
		}
	})
	return nil
}

// lastKnown is what a browser needs to tell the right sheet from another set's while
// the server is away: of each set the turn it is on, as its sheet's code writes it.
// It holds nothing of patients, cases or people.
type lastKnown struct {
	Sets map[string]string `json:"sets"`
}

// turnChars are the characters of a sheet code that hold nothing but its trip: of
// the 26 behind the version the last holds the binding, too.
const turnChars = 25

// known answers what is known of the sets' sheets now.
func (d *Desk) known(v *visit) (any, error) {
	now, err := site.Answer(d.site, func(m *site.View) ([]projections.TripKey, error) { return m.TurnsNow(v, v.now) })
	if err != nil {
		return nil, err
	}
	out := lastKnown{Sets: make(map[string]string, len(now))}
	for _, k := range now {
		c, err := events.NewSheetCode(k.Trip, events.Digest{})
		if err != nil {
			continue // a trip that no sheet can name
		}
		out.Sets[k.Set] = c.String()[1 : 1+turnChars]
	}
	return out, nil
}

// lies is what a browser has to know of a bench to go on without the server.
type lies struct {
	Set   string `json:"set,omitempty"`
	Sheet string `json:"sheet,omitempty"` // the code read
}

// readsSheets is a draft of a bench where a set and its sheet are read.
type readsSheets interface{ lies() *lies }

func (b *reading) lies() *lies {
	l := &lies{Set: b.id()}
	if b.Sheet != nil {
		l.Sheet = b.Sheet.Code
	}
	return l
}

// awayVerdict is a verdict that the browser shows while the server is away: {0} is
// the set on the bench, {1} the other.
type awayVerdict struct {
	Name string
	HTML template.HTML // rendered by this package's own template
}

// awayVerdicts are the verdicts that a browser can come to by itself. Only another
// set's sheet is told for certain; the rest says that it is not judged.
func (v *visit) awayVerdicts() ([]awayVerdict, error) {
	if !slices.Contains([]string{"opening", "storage"}, v.place) {
		return nil, nil
	}
	const set, other = "{0}", "{1}"
	stop := wrong(v.w.StationLine(projections.SheetSwapped, "", set, other), v.t("away-stop-more"))
	v.sayHands(&stop, set)
	var out []awayVerdict
	for _, a := range []struct {
		name string
		said said
	}{
		{"stop", stop},
		{"fits", ask(v.t("away-fits", set), v.t("away-fits-more"))},
		{"unknown", doubt(v.t("away-unknown"), v.t("away-unknown-more"))},
		{"of", ask(v.t("sheet-of", other), v.t("away-fits-more"))},
		{"set", ask(v.t("away-set", set), v.t("away-fits-more"))},
		{"third", doubt(v.t("away-third", set, other), v.t("away-third-more"))},
	} {
		html, err := v.fragment("verdict-away", a.said)
		if err != nil {
			return nil, err
		}
		out = append(out, awayVerdict{a.name, template.HTML(strings.TrimSpace(html))})
	}
	return out, nil
}
