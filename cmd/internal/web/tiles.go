package web

import (
	"errors"
	"net/http"
	"os"
	"strings"

	"listbound/cmd/internal/shell"
	"listbound/cmd/internal/site"
)

// logPrefix is where the ledger is served as c2sp.org/tlog-tiles: a checkpoint,
// the tiles of the tree and the entry bundles, which anybody's tools can read.
// Proofs need no entry bundles, which hold the records themselves.
const logPrefix = "/log/"

const (
	tileType  = "application/octet-stream"
	forEver   = "max-age=31536000, immutable" // a tile never changes
	ownerOnly = "private, " + forEver         // nor does a bundle, but no cache between may keep it
)

// registerLog adds the addresses of the ledger's files.
func registerLog(mux shell.Mux, sh *shell.Shell, s *site.Site) {
	mux.HandleFunc("GET "+logPrefix+"checkpoint", func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Type", "text/plain; charset=utf-8")
		_, _ = w.Write(s.SignedNote()) // a client that has gone away needs no answer
	})
	mux.HandleFunc("GET "+logPrefix+"tile/{name...}", func(w http.ResponseWriter, r *http.Request) {
		name := "tile/" + r.PathValue("name")
		data, err := s.Tile(name)
		switch {
		case errors.Is(err, os.ErrNotExist):
			http.NotFound(w, r) // a client that finds no partial tile asks for the full one
			return
		case err != nil:
			sh.FailText(w, r, err)
			return
		}
		keep := forEver
		if strings.HasPrefix(name, "tile/entries/") {
			keep = ownerOnly
		}
		w.Header().Set("Content-Type", tileType)
		w.Header().Set("Cache-Control", keep)
		_, _ = w.Write(data)
	})
}
