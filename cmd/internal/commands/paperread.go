package commands

import (
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

	"listbound/cmd/internal/paper/pictures"
	"listbound/cmd/internal/site"
	"listbound/cmd/internal/workplace"
)

func (a *app) paperRead() *cobra.Command {
	var watch, lang string
	var every time.Duration
	var practice bool
	c := command("read FILE...", "reads pictures of filled-in count sheets into what waits for a person",
		`Takes JPEG, PNG, PDF and TIFF, as scanners, copiers and phones make them, and says of each
page what was read of it. Nothing is recorded by it: the sheets wait at the stations' page
"Read count sheets back", where a person finishes and signs them.

With --watch it looks into a folder, such as one that a copier scans into, and goes on
until it is stopped: a file that has not changed since it looked before is read and then
moved into the folder "read" below it, into "not-read" where no page of it could be read,
or into "partly-read" where some could: what is printed says which. These files stay whole,
a patient's label on them included: remove them as your facility's policy on such papers
says.

With --practice the sheets are those of a drill, which "paper day --drill" prints: they
wait at the practice stations, and a sheet of real work is refused there, as one of
practice is here.`,
		"listbound paper read --server http://127.0.0.1:8320 --watch /srv/scans", func(cmd *cobra.Command, args []string) error {
			if (watch == "") == (len(args) == 0) {
				return errors.New("name the files to read, or a folder with --watch")
			}
			return a.withReader(cmd, lang, practice, func(read reader) error {
				if watch != "" {
					return a.watch(cmd.Context(), watch, every, read)
				}
				bad := false
				for _, name := range args {
					got, err := a.readOne(cmd.Context(), name, read)
					if err != nil {
						return err
					}
					bad = bad || !got.quiet
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
	c.Flags().BoolVar(&practice, "practice", false, "read the sheets of a drill into the practice ledger")
	return c
}

// reader reads a file and tells of each of its pages.
type reader func(ctx context.Context, file []byte, tell func(pageSaid)) error

// pageSaid is what is said of a page.
type pageSaid struct {
	Words string `json:"words"`
	OK    bool   `json:"ok"`   // it was read, and nothing is to be said of it
	Read  bool   `json:"read"` // it was read
}

// withReader reads into a data folder or at a server.
func (a *app) withReader(cmd *cobra.Command, lang string, practice bool, do func(reader) error) error {
	if a.server != "" {
		if cmd.Flags().Changed("data") {
			return errors.New("give --data or --server, not both")
		}
		prefix := ""
		if practice {
			prefix = "/practice"
		}
		return do(func(ctx context.Context, file []byte, tell func(pageSaid)) error {
			return a.sendPaper(ctx, prefix, lang, file, tell)
		})
	}
	return a.ask(cmd, func(s site.Service) (err error) {
		folder, ok := s.(*site.Site)
		if !ok {
			return errors.New("sheets are read into a data folder or at a server")
		}
		in, err := languageOf(folder, lang)
		if err != nil {
			return err
		}
		if practice {
			real := folder
			if folder, err = a.openPractice(cmd.Context(), real, func(int64) {}); err != nil {
				return err
			}
			defer func() { err = errors.Join(err, folder.Close()) }()
		}
		return do(func(ctx context.Context, file []byte, tell func(pageSaid)) error {
			return workplace.ReadPaper(ctx, folder, practice, file, func(p workplace.PageRead) error {
				words, ok := p.Say(in)
				tell(pageSaid{words, ok, p.Err == nil})
				return nil
			})
		})
	})
}

// sendPaper sends a file to the server, which answers a line for each page.
func (a *app) sendPaper(ctx context.Context, prefix, lang string, file []byte, tell func(pageSaid)) (err error) {
	c, err := a.askServer()
	if err != nil {
		return err
	}
	address := strings.TrimSuffix(a.server, "/") + prefix + "/api/paper?" + url.Values{"lang": {lang}}.Encode()
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
	if err := refusedBy(res); err != nil {
		return err
	}
	for lines := jsontext.NewDecoder(res.Body); ; {
		var line pageSaid
		err := json.UnmarshalDecode(lines, &line)
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return fmt.Errorf("the answer broke off: %w", err)
		}
		tell(line)
	}
}

// fileRead is what became of a file's pages.
type fileRead struct {
	read, unread int
	quiet        bool // all were read, and nothing is to be said of any
}

// readOne reads one file, and says what became of each page. A name is quoted where it is no plain text: whoever
// scans gives it, and a terminal would obey it.
func (a *app) readOne(ctx context.Context, name string, read reader) (got fileRead, err error) {
	file, err := readBounded(name)
	if err != nil {
		return got, err
	}
	got.quiet = true
	err = read(ctx, file, func(p pageSaid) {
		got.quiet = got.quiet && p.OK
		if p.Read {
			got.read++
		} else {
			got.unread++
		}
		fmt.Fprintf(a.env.Out, "%s: %s\n", plainName(name), p.Words)
	})
	return got, err
}

// plainName is a file's name as it can be printed.
func plainName(path string) string {
	name := filepath.Base(path)
	if strings.ContainsFunc(name, func(r rune) bool { return !strconv.IsPrint(r) }) {
		return strconv.Quote(name)
	}
	return name
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
	wasRead    = "read"
	partlyRead = "partly-read"
	notRead    = "not-read"
)

// folder is where a file belongs by what became of its pages.
func (f fileRead) folder() string {
	switch {
	case f.read == 0:
		return notRead
	case f.unread > 0:
		return partlyRead
	}
	return wasRead
}

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
		got, err := a.readOne(ctx, path, read)
		if bad, file := errors.AsType[*fs.PathError](err); file && bad.Path == path { // the others are read all the same
			fmt.Fprintf(a.env.Err, "listbound: %q can't be read and stays where it is: %v\n", e.Name(), err)
			continue
		}
		if err != nil {
			return err
		}
		if err := moveInto(path, filepath.Join(dir, got.folder())); err != nil {
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
