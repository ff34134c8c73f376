package site

import (
	"bytes"
	"errors"
	"io"
	"io/fs"
	"iter"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"listbound/ledger/disk"
)

// Aside has somebody who writes files in the folder beside the ledger stand aside while texts are taken out of these: what
// they read before and wrote after would bring a text back. hold returns when nothing is being written, and what it
// returns lets writing go on.
func (s *Site) Aside(hold func() (release func())) {
	s.asideMu.Lock()
	defer s.asideMu.Unlock()
	s.aside = append(s.aside, hold)
}

// standAside has all of them stand aside.
func (s *Site) standAside() (release func()) {
	s.asideMu.Lock()
	defer s.asideMu.Unlock()
	var all []func()
	for _, hold := range s.aside {
		all = append(all, hold())
	}
	return func() {
		for _, release := range slices.Backward(all) {
			release()
		}
	}
}

const (
	draftsDir = "drafts"
	doorDir   = "door"
)

// isDraft and isReading tell what kind of file lies at a path in the folder: what was entered and not recorded, or who
// read what.
func isDraft(rel string) bool {
	return strings.HasPrefix(filepath.ToSlash(rel), draftsDir+"/")
}

func isReading(rel string) bool {
	return strings.HasPrefix(filepath.ToSlash(rel), doorDir+"/") && strings.HasSuffix(rel, ".jsonl")
}

// swept and everywhere say where find looks.
func swept(rel string) bool      { return isDraft(rel) || isReading(rel) }
func everywhere(rel string) bool { return filepath.ToSlash(rel) != redactingName }

// sweep takes texts out of what else lies in the folder: a draft that has one is removed, and in the lists of who read
// what a word stands for it.
func (s *Site) sweep(texts []string) error {
	if len(texts) == 0 {
		return nil
	}
	defer s.standAside()()
	wanted := seek(texts)
	return s.eachFile(func(rel, path string) error {
		if !swept(rel) {
			return nil
		}
		raw, err := os.ReadFile(path)
		if errors.Is(err, os.ErrNotExist) {
			return nil
		}
		if err != nil {
			return err
		}
		clean, found := raw, false
		wanted.each(append([]byte(rel+"\n"), raw...), func(text string) {
			for _, f := range forms(text) {
				var here bool
				clean, here = replaceWhole(clean, f)
				_, named := replaceWhole([]byte(rel), f)
				found = found || here || named
			}
			found = found || saidInBase64(raw, text)
		})
		switch {
		case found && isDraft(rel):
			return s.removeDraft(path)
		case bytes.Equal(clean, raw):
			return nil
		}
		return disk.Write(filepath.Dir(path), filepath.Base(path), clean)
	})
}

// removeDraft removes a file with those folders that it leaves empty: they are named for a case or set, too.
func (s *Site) removeDraft(path string) error {
	if err := removeIfThere(path); err != nil {
		return err
	}
	top := filepath.Join(s.opts.Dir, draftsDir)
	for dir := filepath.Dir(path); dir != top; dir = filepath.Dir(dir) {
		if os.Remove(dir) != nil {
			return nil //nolint:nilerr // something else lies in it
		}
	}
	return nil
}

// replaceWhole puts a word in the place of a text. One of a few letters counts only where it stands alone: K-1 is no
// part of K-12.
func replaceWhole(raw, text []byte) (out []byte, found bool) {
	const short = 8
	if len(text) >= short {
		return bytes.ReplaceAll(raw, text, []byte("redacted")), bytes.Contains(raw, text)
	}
	done := 0
	for at := range alone(raw, text) {
		out, found = append(append(out, raw[done:at]...), "redacted"...), true
		done = at + len(text)
	}
	return append(out, raw[done:]...), found
}

// standsAlone reports whether a text stands somewhere with neither a letter nor a digit beside it.
func standsAlone(raw, text []byte) bool {
	for range alone(raw, text) {
		return true
	}
	return false
}

// alone yields where a text stands alone.
func alone(raw, text []byte) iter.Seq[int] {
	letter := func(at int) bool {
		if at < 0 || at >= len(raw) {
			return false
		}
		c := raw[at]
		return c >= '0' && c <= '9' || c >= 'A' && c <= 'Z' || c >= 'a' && c <= 'z' || c >= 0x80
	}
	return func(yield func(int) bool) {
		for at := 0; len(text) > 0; {
			i := bytes.Index(raw[at:], text)
			if i < 0 {
				return
			}
			begin, end := at+i, at+i+len(text)
			switch {
			case letter(begin-1) || letter(end):
				at = begin + 1
			case !yield(begin):
				return
			default:
				at = end
			}
		}
	}
}

// find returns the files in which one of the texts is found.
func (s *Site) find(texts []string, where func(rel string) bool) (left []string, err error) {
	if len(texts) == 0 {
		return nil, nil
	}
	wanted := seek(texts)
	err = s.eachFile(func(rel, path string) error {
		if !where(rel) {
			return nil
		}
		found, err := wanted.inFile(rel, path)
		if found {
			left = append(left, filepath.ToSlash(rel))
		}
		return err
	})
	return left, err
}

// seeker looks for many texts at once, in each form in which one may stand in a file. By the first two bytes it passes over
// nearly all that is none of them, so that a thousand take little longer than one.
type seeker struct {
	begins  map[[2]byte][]sought
	may     [1 << 16]bool
	longest int
}

type sought struct {
	form   []byte
	text   string
	base64 bool // only a part: what stands around it decides
}

func seek(texts []string) *seeker {
	s := &seeker{begins: make(map[[2]byte][]sought)}
	add := func(x sought) {
		const least = 2 // a single byte is everywhere
		if len(x.form) < least {
			return
		}
		k := [2]byte(x.form)
		s.begins[k] = append(s.begins[k], x)
		s.may[int(k[0])<<8|int(k[1])] = true
		s.longest = max(s.longest, len(x.form))
	}
	for _, text := range texts {
		for _, f := range forms(text) {
			add(sought{form: f, text: text})
		}
		for _, f := range inBase64(text) {
			add(sought{form: f, text: text, base64: true})
		}
	}
	return s
}

// each calls found for each text that stands in raw, once.
func (s *seeker) each(raw []byte, found func(text string)) {
	told := make(map[string]bool)
	for i := 0; i+1 < len(raw); i++ {
		if !s.may[int(raw[i])<<8|int(raw[i+1])] {
			continue
		}
		for _, x := range s.begins[[2]byte(raw[i:])] {
			if told[x.text] || !bytes.HasPrefix(raw[i:], x.form) {
				continue
			}
			if x.base64 && !saidInBase64(raw[max(0, i-8):min(len(raw), i+len(x.form)+8)], x.text) {
				continue
			}
			told[x.text] = true
			found(x.text)
		}
	}
}

// inFile reports whether one of the texts stands in a file or its path. It reads pieces, each with the end of the one
// before: the file may be larger than memory.
func (s *seeker) inFile(rel, path string) (found bool, err error) {
	see := func(string) { found = true }
	if s.each([]byte(rel), see); found {
		return true, nil
	}
	f, err := os.Open(path)
	if errors.Is(err, os.ErrNotExist) {
		return false, nil
	}
	if err != nil {
		return false, err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	const piece = 4 << 20
	overlap := s.longest + 16 // as much as base64 is looked at around
	buf := make([]byte, 0, piece+overlap)
	for {
		n, err := io.ReadFull(f, buf[len(buf):len(buf)+piece])
		buf = buf[:len(buf)+n]
		if s.each(buf, see); found || errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
			return found, nil
		}
		if err != nil {
			return false, err
		}
		rest := buf[max(0, len(buf)-overlap):]
		buf = buf[:copy(buf[:cap(buf)], rest)]
	}
}

func (s *Site) eachFile(do func(rel, path string) error) error {
	return filepath.WalkDir(s.opts.Dir, func(path string, d fs.DirEntry, err error) error {
		if errors.Is(err, os.ErrNotExist) || err == nil && !d.Type().IsRegular() {
			return nil
		}
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(s.opts.Dir, path)
		if err != nil {
			return err
		}
		return do(rel, path)
	})
}
