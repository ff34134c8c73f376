package commands

import (
	"archive/zip"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
	"github.com/spf13/cobra"

	"listbound/cmd/internal/paper"
	"listbound/cmd/internal/paper/marks"
	"listbound/cmd/internal/paper/pictures"
	"listbound/cmd/internal/site"
	"listbound/cmd/internal/workplace"
	"listbound/projections/words"
)

// paper is about count sheets on paper: printed for a day ahead, and read back.
func (a *app) paper() *cobra.Command {
	c := &cobra.Command{Use: "paper", Short: "prints count sheets for a day ahead, and reads filled-in ones back"}
	c.AddCommand(a.paperDay(), a.paperRead(), a.paperTrial())
	return c
}

func (a *app) paperDay() *cobra.Command {
	var out, size, label, lang string
	var blank int
	var drill bool
	c := command("day [SET...]", "prints the count sheets of all sets that are ready, as PDFs into a folder",
		`At night, for a day on which the server may be away: for each set that is closed and not
yet counted to its end (or for those that are named) its count sheet and its label, and
forms for what nobody planned. They go into a folder of that day below the one named
with --out; contents.txt lists them, and the sets that have no count sheet. What was
filled in is read back with "paper read", or at the stations' page.

With --drill the sheets are those of the practice ledger, and say so on every page: a
downtime can be practised with them from printing to reading back.`,
		"listbound paper day --data d --out /srv/downtime --blank 10", func(cmd *cobra.Command, args []string) error {
			d := workplace.Day{Blank: blank, Sets: args, Practice: drill}
			var err error
			if d.Size, err = paper.ParseSize(size); err != nil {
				return err
			}
			if d.Label, err = paper.ParseLabelSize(label); err != nil {
				return err
			}
			var archive bytes.Buffer
			if a.server != "" {
				q := url.Values{"size": {size}, "lang": {lang}, "blank": {strconv.Itoa(blank)}, "set": args}
				q.Set("label", label)
				prefix := ""
				if drill {
					prefix = "/practice"
				}
				err = a.fetch(cmd.Context(), strings.TrimSuffix(a.server, "/")+prefix+"/print/day.zip?"+q.Encode(), &archive)
			} else {
				err = a.printDay(cmd, d, lang, &archive)
			}
			if err != nil {
				return err
			}
			dir := filepath.Join(out, a.env.Clock().Format("2006-01-02"))
			n, err := unpack(archive.Bytes(), dir)
			if err == nil {
				fmt.Fprintf(a.env.Out, "%d files in %s; contents.txt lists them\n", n, dir)
			}
			return err
		})
	c.Flags().StringVar(&out, "out", "", "folder to write to")
	c.Flags().StringVar(&size, "size", "A4", "paper: A4 or Letter")
	c.Flags().StringVar(&label, "label", paper.LabelSizes()[0].Name, "size of labels, such as 100x50 or 4x2in")
	c.Flags().StringVar(&lang, "lang", "en", "language, such as en or de")
	c.Flags().IntVar(&blank, "blank", 10, "how many forms for sets without a count sheet")
	c.Flags().BoolVar(&drill, "drill", false, "print those of the practice ledger, for a drill")
	if err := c.MarkFlagRequired("out"); err != nil {
		panic(err) // the flag is two lines above
	}
	return c
}

// printDay prints from a data folder.
func (a *app) printDay(cmd *cobra.Command, d workplace.Day, lang string, w io.Writer) error {
	return a.ask(cmd, func(s site.Service) (err error) {
		folder, ok := s.(*site.Site)
		if !ok {
			return errors.New("a day is printed from a data folder or by a server")
		}
		language, err := languageOf(folder, lang)
		if err != nil {
			return err
		}
		if d.Practice {
			practice, err := a.openPractice(cmd.Context(), folder, func(int64) {})
			if err != nil {
				return err
			}
			return errors.Join(workplace.PrintDay(cmd.Context(), practice, d, language, w), practice.Close())
		}
		return workplace.PrintDay(cmd.Context(), folder, d, language, w)
	})
}

// unpack writes the files of an archive below a folder, each whole.
func unpack(archive []byte, dir string) (n int, err error) {
	z, err := zip.NewReader(bytes.NewReader(archive), int64(len(archive)))
	if err != nil {
		return 0, fmt.Errorf("what the server sent is no archive: %w", err)
	}
	for _, f := range z.File {
		if !filepath.IsLocal(f.Name) {
			return n, fmt.Errorf("the archive names %q, which is not below a folder", f.Name)
		}
		path := filepath.Join(dir, filepath.FromSlash(f.Name))
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			return n, err
		}
		r, err := f.Open()
		if err != nil {
			return n, err
		}
		raw, err := io.ReadAll(r)
		if err = errors.Join(err, r.Close()); err != nil {
			return n, err
		}
		part := path + ".part"
		if err := os.WriteFile(part, raw, 0o644); err != nil {
			return n, err
		}
		if err := os.Rename(part, path); err != nil {
			return n, err
		}
		n++
	}
	return n, nil
}

func (a *app) paperTrial() *cobra.Command {
	var out, size, lang string
	c := command("trial [FILE...]", "prints a trial sheet, or says by its picture whether printer, copier and camera will do",
		`Without a file it prints one page with marks of all kinds and a column for the site's own
pens. Print it, tick that column with the pens that are used, take its picture as count
sheets are to be taken (photo, scan, copy and scan) and hand the file in: each mark is
held against what it is, so that it is known before the first count sheet is read back
whether pale ink, a copier or a telephone is too little. No data folder is needed.`,
		"listbound paper trial --out trial.pdf", func(cmd *cobra.Command, args []string) error {
			said, err := a.words()
			if err != nil {
				return err
			}
			in, ok := said.Catalogue().Find(lang)
			if !ok {
				return fmt.Errorf("--lang is one of %s, not %q", strings.Join(said.Languages(), ", "), lang)
			}
			if len(args) == 0 {
				return a.printTrial(out, size, in)
			}
			bad := false
			for _, name := range args {
				good, err := a.readTrial(name, in)
				if err != nil {
					return err
				}
				bad = bad || !good
			}
			if bad {
				return errSaid
			}
			return nil
		})
	c.Flags().StringVar(&out, "out", "trial.pdf", "file to write")
	c.Flags().StringVar(&size, "size", "A4", "paper: A4 or Letter")
	c.Flags().StringVar(&lang, "lang", "en", "language, such as en or de")
	return c
}

func (a *app) printTrial(out, size string, in *words.Language) error {
	paperSize, err := paper.ParseSize(size)
	if err != nil {
		return err
	}
	var pdf bytes.Buffer
	if err := paper.WriteTrialSheet(&pdf, paperSize, in); err != nil {
		return err
	}
	return os.WriteFile(out, pdf.Bytes(), 0o644)
}

// readTrial says what the pages of a file show; good is false where one of them will not do.
func (a *app) readTrial(name string, in *words.Language) (good bool, err error) {
	file, err := readBounded(name)
	if err != nil {
		return false, err
	}
	good = true
	for m, err := range pictures.Pages(file, pictures.Usual()) {
		var page *marks.Page
		if err == nil {
			page, err = marks.Read(m, func(s marks.Symbol) (*paper.Sheet, error) {
				if !paper.IsTrial(s.Code) {
					return nil, errors.New("this is a count sheet and not the trial sheet")
				}
				sheet, err := paper.TrialSheet(in)
				return &sheet, err
			})
		}
		if err != nil {
			good = false
			says := err.Error()
			if r, ok := errors.AsType[*marks.Refusal](err); ok {
				says = r.Say(in)
			}
			fmt.Fprintf(a.env.Out, "%s: %s\n", filepath.Base(name), says)
			continue
		}
		t := marks.TrialOf(page)
		good = good && t.Fitness == marks.Fit
		fmt.Fprintf(a.env.Out, "%s: %s\n", filepath.Base(name), strings.Join(t.Say(in), "\n  "))
	}
	return good, nil
}

func (a *app) paperRead() *cobra.Command {
	var watch, lang string
	var every time.Duration
	c := command("read FILE...", "reads pictures of filled-in count sheets into what waits for a person",
		`Takes JPEG, PNG, PDF and TIFF, as scanners, copiers and phones make them, and says of each
page what was read of it. Nothing is recorded by it: the sheets wait at the stations' page
"Read count sheets back", where a person finishes and signs them.

With --watch it looks into a folder, such as one that a copier scans into, and goes on
until it is stopped: a file that has not changed since it looked before is read and then
moved into the folder "read" below it, or "not-read" where a page could not be read or
something is to be said of it. These files stay whole, a patient's label on them included:
remove them as your facility's policy on such papers says.`,
		"listbound paper read --server http://127.0.0.1:8320 --watch /srv/scans", func(cmd *cobra.Command, args []string) error {
			if (watch == "") == (len(args) == 0) {
				return errors.New("name the files to read, or a folder with --watch")
			}
			return a.withReader(cmd, lang, func(read reader) error {
				if watch != "" {
					return a.watch(cmd.Context(), watch, every, read)
				}
				bad := false
				for _, name := range args {
					ok, err := a.readOne(cmd.Context(), name, read)
					if err != nil {
						return err
					}
					bad = bad || !ok
				}
				if bad {
					return errSaid
				}
				return nil
			})
		})
	c.Flags().StringVar(&watch, "watch", "", "folder to look into, again and again")
	c.Flags().DurationVar(&every, "every", 5*time.Second, "how often it looks, with --watch")
	c.Flags().StringVar(&lang, "lang", "en", "language of what is said, such as en or de")
	return c
}

// reader reads a file and tells of each of its pages.
type reader func(ctx context.Context, file []byte, tell func(words string, ok bool)) error

// withReader reads into a data folder or at a server.
func (a *app) withReader(cmd *cobra.Command, lang string, do func(reader) error) error {
	if a.server != "" {
		if cmd.Flags().Changed("data") {
			return errors.New("give --data or --server, not both")
		}
		return do(func(ctx context.Context, file []byte, tell func(string, bool)) error {
			return a.sendPaper(ctx, lang, file, tell)
		})
	}
	return a.ask(cmd, func(s site.Service) error {
		folder, ok := s.(*site.Site)
		if !ok {
			return errors.New("sheets are read into a data folder or at a server")
		}
		in, err := languageOf(folder, lang)
		if err != nil {
			return err
		}
		return do(func(ctx context.Context, file []byte, tell func(string, bool)) error {
			return workplace.ReadPaper(ctx, folder, false, file, func(p workplace.PageRead) error {
				tell(p.Say(in))
				return nil
			})
		})
	})
}

// sendPaper sends a file to the server, which answers a line for each page.
func (a *app) sendPaper(ctx context.Context, lang string, file []byte, tell func(string, bool)) (err error) {
	c, err := a.askServer()
	if err != nil {
		return err
	}
	address := strings.TrimSuffix(a.server, "/") + "/api/paper?" + url.Values{"lang": {lang}}.Encode()
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, address, bytes.NewReader(file))
	if err != nil {
		return err
	}
	req.Header.Set("Content-Type", "application/octet-stream")
	res, err := c.Send(req)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, res.Body.Close()) }()
	if res.StatusCode != http.StatusOK {
		const most = 4096
		said, err := io.ReadAll(io.LimitReader(res.Body, most))
		return errors.Join(errors.New(strings.TrimSpace(string(said))), err)
	}
	for lines := jsontext.NewDecoder(res.Body); ; {
		var line struct {
			Words string `json:"words"`
			OK    bool   `json:"ok"`
		}
		err := json.UnmarshalDecode(lines, &line)
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return fmt.Errorf("the answer broke off: %w", err)
		}
		tell(line.Words, line.OK)
	}
}

// readOne reads one file; ok is false where a page of it was not taken, or something is to be said of it.
func (a *app) readOne(ctx context.Context, name string, read reader) (ok bool, err error) {
	file, err := readBounded(name)
	if err != nil {
		return false, err
	}
	ok = true
	err = read(ctx, file, func(words string, good bool) {
		ok = ok && good
		fmt.Fprintf(a.env.Out, "%s: %s\n", filepath.Base(name), words)
	})
	return ok, err
}

// readBounded reads a file, and of one that is too large no more than shows that.
func readBounded(name string) (raw []byte, err error) {
	f, err := os.Open(name)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	return io.ReadAll(io.LimitReader(f, int64(pictures.Usual().Bytes)+1))
}

// The folders below a watched one into which what was read is moved.
const (
	wasRead = "read"
	notRead = "not-read"
)

// watch reads what comes into a folder. A copier writes a file in parts: one is read once it stayed the same from
// one look to the next.
func (a *app) watch(ctx context.Context, dir string, every time.Duration, read reader) error {
	seen := make(map[string]fs.FileInfo)
	tick := time.NewTicker(max(every, time.Second))
	defer tick.Stop()
	for {
		if err := a.look(ctx, dir, seen, read); err != nil && ctx.Err() == nil {
			fmt.Fprintf(a.env.Err, "listbound: %v\n", err) // a server that is away comes back: the file stays until then
		}
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
		}
	}
}

// look reads what lies in the folder and has not changed since the last look.
func (a *app) look(ctx context.Context, dir string, seen map[string]fs.FileInfo, read reader) error {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return err
	}
	var here []string
	for _, e := range entries {
		info, err := e.Info()
		if err != nil || !info.Mode().IsRegular() || strings.HasPrefix(e.Name(), ".") {
			continue
		}
		here = append(here, e.Name())
		was := seen[e.Name()]
		seen[e.Name()] = info
		if was == nil || was.Size() != info.Size() || !was.ModTime().Equal(info.ModTime()) {
			continue
		}
		path := filepath.Join(dir, e.Name())
		ok, err := a.readOne(ctx, path, read)
		if bad, file := errors.AsType[*fs.PathError](err); file && bad.Path == path { // the others are read all the same
			fmt.Fprintf(a.env.Err, "listbound: %q can't be read and stays where it is: %v\n", e.Name(), err)
			continue
		}
		if err != nil {
			return err
		}
		to := wasRead
		if !ok {
			to = notRead
		}
		if err := moveInto(path, filepath.Join(dir, to)); err != nil {
			return err
		}
		delete(seen, e.Name())
	}
	for name := range seen {
		if !slices.Contains(here, name) {
			delete(seen, name)
		}
	}
	return nil
}

// moveInto moves a file into a folder beside it. A file of that name that is there already stays as it is.
func moveInto(path, dir string) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	ext := filepath.Ext(path)
	base := strings.TrimSuffix(filepath.Base(path), ext)
	for n := 1; ; n++ {
		to := filepath.Join(dir, base+ext)
		if n > 1 {
			to = filepath.Join(dir, fmt.Sprintf("%s-%d%s", base, n, ext))
		}
		if _, err := os.Lstat(to); err == nil {
			continue
		}
		return os.Rename(path, to)
	}
}
