package ledger

import (
	"os"
	"regexp"
	"strings"

	"golang.org/x/mod/sumdb/tlog"

	"listbound/ledger/proof"
)

// tileName is the form of the names in a tree of c2sp.org/tlog-tiles, so that
// nothing else in the folder can be asked for.
var tileName = regexp.MustCompile(
	`^tile/(entries|[0-9]|[1-5][0-9]|6[0-3])/(x[0-9]{3}/)*[0-9]{3}(\.p/[1-9][0-9]{0,2})?$`)

// Tile returns the bytes of a tile or an entry bundle by its name in the form of
// c2sp.org/tlog-tiles, such as tile/0/000 or tile/entries/x001/234.p/17. An error
// that is os.ErrNotExist says that there is none: a full one that isn't full yet,
// or a partial one that a larger has replaced.
func (l *Ledger) Tile(name string) ([]byte, error) {
	if !tileName.MatchString(name) {
		return nil, os.ErrNotExist
	}
	if strings.HasPrefix(name, "tile/entries/") && !strings.Contains(name, ".p/") {
		return l.files.plainBundle(name)
	}
	return os.ReadFile(l.files.path(name))
}

// RootAt returns the root of the tree as it was when it had size records, which
// the newest checkpoint covers.
func (l *Ledger) RootAt(size int64) (tlog.Hash, error) {
	if size == 0 {
		return proof.EmptyRoot, nil
	}
	return tlog.TreeHash(size, l.hashReader(l.Signed()))
}
