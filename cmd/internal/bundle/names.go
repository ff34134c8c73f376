package bundle

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/go-json-experiment/json"

	"listbound/events"
	"listbound/ledger/proof"
)

// coveredReadmes are those of earlier programs whose bundles have a file covers.
var coveredReadmes = []string{
	"f5544e7ac11b0ac23cfe91d94347414d71c23291b393f9581138dad289f60ebd",
	"d4ef42fc3a784b98fc33c6bd97306e168e92deb692a53fdfbbe3b1aa0b64f9ec",
}

// formerReadmes are the SHA-256 of README.txt as earlier programs wrote it.
var formerReadmes = []string{
	"d121c2e7ceba043f4605f626ff6962374a36cb2f19c47692ea07eff8fd52ced9",
	"46eda211fab83859f79b02d8c989895e7654e16685f7c00df37f31bfc0c16dc2",
}

// names checks that each file is one that a bundle has, under the one name it can have, and that none is missing: what
// is unpacked where names of other case are the same could put another file in its place.
func (r *Report) names(b *proof.Bundle, c *Covers) {
	seen := make(map[string]string)
	for _, f := range b.Files {
		folded := strings.ToLower(f.Path)
		if other, ok := seen[folded]; ok {
			r.add(-1, f.Path, fmt.Sprintf("its name differs only in case from that of %s", other))
		}
		seen[folded] = f.Path
		if !known(b, f.Path, c) {
			r.add(-1, f.Path, "no bundle has a file of this name")
		}
	}
	must := []string{readmeFile, historyText, historyJSON, keyFile, checkpointFile}
	for _, name := range must {
		if _, ok := b.File(name); !ok {
			r.add(-1, name, "it is missing")
		}
	}
	if text, ok := b.File(readmeFile); ok && string(text) != readme {
		sum := sha256.Sum256(text)
		former := formerReadmes
		if c != nil {
			former = coveredReadmes
		}
		if !slices.Contains(former, hex.EncodeToString(sum[:])) {
			r.add(-1, readmeFile, "it is another text than every bundle has")
		}
	}
}

// known reports whether a bundle has a file of that name.
func known(b *proof.Bundle, path string, c *Covers) bool {
	switch path {
	case readmeFile, historyText, historyJSON, keyFile, checkpointFile, coversFile, custodyFile, addendaFile:
		return true
	}
	if _, ok := seqOf(path); ok {
		return true
	}
	if n, ok := numbered(path, proofsDir, proofSuffix); ok && (c == nil || c.Of != Everything) {
		_, ok := b.File(fmt.Sprintf("%s%09d%s", recordsDir, n, recordSuffix))
		return ok
	}
	if _, ok := numbered(path, headsDir, headSuffix); ok && c != nil {
		return true
	}
	if strings.HasPrefix(path, runsDir) {
		return runName.MatchString(path)
	}
	if strings.HasPrefix(path, stampDir) {
		size, _, ok := stampName(path)
		return ok && size > 0
	}
	_, ok := numbered(path, earlierDir, "")
	return ok
}

// seqOf returns the number of the record that a path names.
func seqOf(path string) (int64, bool) {
	n, ok := numbered(path, recordsDir, recordSuffix)
	return n, ok && n > 0
}

// numbered reads the number in a name, which is written in one way.
func numbered(path, dir, suffix string) (int64, bool) {
	name, ok := strings.CutPrefix(path, dir)
	digits, ok2 := strings.CutSuffix(name, suffix)
	n, err := strconv.ParseInt(digits, 10, 64)
	return n, ok && ok2 && err == nil && n >= 0 && fmt.Sprintf("%09d", n) == digits
}

// claimedRemarks reads what history.json says is wrong with records themselves.
func claimedRemarks(b *proof.Bundle) map[int64]events.Remark {
	data, _ := b.File(historyJSON)
	var h struct {
		Events []struct {
			Seq     int64    `json:"seq"`
			Remarks []string `json:"remarks"`
		} `json:"events"`
	}
	out := make(map[int64]events.Remark)
	if json.Unmarshal(data, &h) != nil {
		return out // compared later, whatever it is
	}
	for _, e := range h.Events {
		for _, bit := range []events.Remark{events.RemarkGap, events.RemarkBackwards} {
			if slices.Contains(e.Remarks, bit.String()) {
				out[e.Seq] |= bit
			}
		}
	}
	return out
}
