package shell

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io/fs"
	"net/http"
	"strings"

	"listbound/cmd/internal/refusal"
)

// Scripts and style sheets change only with the program, and a station must never run yesterday's. So a page, which is asked
// for each time, names them by what is in them: /assets/SUM/shell.css. Under that name a browser keeps them, and asks no
// more; a tablet that opens a page asks for the page alone.

// assetSet is a folder of embedded files.
type assetSet struct {
	prefix string // as in "/assets/"
	sum    string // of the names and contents of all of them: they import each other by relative names
}

// sumChars is how many hexadecimal digits tell one state of the files from another.
const sumChars = 16

// keepForever is what a browser is told of a file whose name says what is in it.
const keepForever = "public, max-age=31536000, immutable"

// Register adds the shared assets to a mux.
func (s *Shell) Register(mux Mux) {
	files, err := Files()
	if err == nil {
		err = s.Serve(mux, "/assets/", files)
	}
	if err != nil {
		s.log.Error("assets", "error", err)
	}
}

// Files are the shared assets, as /assets/ serves them.
func Files() (fs.FS, error) {
	files, err := fs.Sub(assetFiles, "assets")
	if err != nil {
		return nil, fmt.Errorf("shared assets: %w", err)
	}
	return files, nil
}

// Serve adds a folder of embedded files, without folders in it, to a mux. By a name without their sum, or with another one,
// the same files are answered, and not kept. There is nothing else: neither a list of the files, nor net/http's ways to one,
// which a browser would keep as well.
func (s *Shell) Serve(mux Mux, prefix string, files fs.FS) error {
	sum, names := sha256.New(), make(map[string]bool)
	err := fs.WalkDir(files, ".", func(name string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		raw, err := fs.ReadFile(files, name)
		fmt.Fprintln(sum, name, len(raw))
		sum.Write(raw)
		names[name] = true
		return err
	})
	if err != nil {
		return fmt.Errorf("the files of %s: %w", prefix, err)
	}
	set := assetSet{prefix, hex.EncodeToString(sum.Sum(nil))[:sumChars]}
	s.assets = append(s.assets, set)
	mux.HandleFunc("GET "+prefix, func(w http.ResponseWriter, r *http.Request) {
		sum, name, named := strings.Cut(strings.TrimPrefix(r.URL.Path, prefix), "/")
		if !named {
			sum, name = "", sum
		}
		if !names[name] || named && !isSum(sum) {
			s.FailText(w, r, refusal.WithCode(http.StatusNotFound, "%s", s.Words(r).T("shell.no-such-address", r.URL.Path)))
			return
		}
		if sum == set.sum {
			w.Header().Set("Cache-Control", keepForever)
		}
		http.ServeFileFS(w, r, files, name)
	})
	return nil
}

// isSum reports whether part of a path looks like the sum of some version's files.
func isSum(part string) bool {
	raw, err := hex.DecodeString(part)
	return err == nil && 2*len(raw) == sumChars && strings.ToLower(part) == part
}

// AssetsOf has pages name the files that another shell serves.
func (s *Shell) AssetsOf(other *Shell) { s.assets = append(s.assets, other.assets...) }

// Asset returns the name by which a browser keeps a file that Serve was given: of "/assets/shell.css",
// "/assets/SUM/shell.css".
func (s *Shell) Asset(path string) string {
	for _, set := range s.assets {
		if name, ok := strings.CutPrefix(path, set.prefix); ok {
			return set.prefix + set.sum + "/" + name
		}
	}
	return path
}
