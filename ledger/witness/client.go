package witness

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"net/http"
	"strconv"
	"strings"
	"time"

	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"

	"listbound/ledger/proof"
)

// Client asks one witness for its signature.
type Client struct {
	URL  string // the address before /add-checkpoint
	Key  note.Verifier
	HTTP *http.Client // nil: http.DefaultClient
}

// Signed is a checkpoint with a witness's signature.
type Signed struct {
	Checkpoint proof.Checkpoint
	Note       []byte // the checkpoint as the ledger signed it, then the cosignature
	At         time.Time
	// Forgot says that the witness had signed what it was said to have signed, and knew no more of it: it has lost its
	// memory, or an old one was put back. What it remembers is where it was at that time.
	Forgot     bool
	Remembered int64
}

// BehindError says that a witness saw more of a ledger than there is of it now:
// a part of the ledger is missing here, or a copy of it goes on elsewhere.
type BehindError struct {
	Witness   string
	Seen, Now int64
}

func (e *BehindError) Error() string {
	return fmt.Sprintf("the witness %s saw %d records of this ledger, and there are %d here", e.Witness, e.Seen, e.Now)
}

// TwoHistoriesError says that a witness saw another history than this one.
type TwoHistoriesError struct {
	Witness string
	Seen    int64
	Says    string
}

func (e *TwoHistoriesError) Error() string {
	return fmt.Sprintf("the witness %s saw another history of this ledger at %d records (%s)",
		e.Witness, e.Seen, e.Says)
}

// Prover proves that the ledger of from records is a prefix of that of a checkpoint.
type Prover func(from int64) ([]tlog.Hash, error)

// maxAnswer bounds what is read of an answer.
const maxAnswer = 64 << 10

// Ask has a signed checkpoint of the ledger cosigned. old is the size that the
// witness signed last as far as is known, 0 where nothing is.
func (c *Client) Ask(ctx context.Context, msg []byte, old int64, prove Prover) (*Signed, error) {
	text, _, ok := strings.Cut(string(msg), "\n\n")
	if !ok {
		return nil, fmt.Errorf("this is no signed checkpoint")
	}
	now, err := proof.ParseCheckpoint(text + "\n")
	if err != nil {
		return nil, err
	}
	if old > now.Size {
		return nil, &BehindError{c.Key.Name(), old, now.Size}
	}
	// What the witness signed last is not known for sure: it says so itself, once.
	known := old
	for try := range 2 {
		code, body, err := c.post(ctx, msg, old, now.Size, prove)
		if err != nil {
			return nil, fmt.Errorf("the witness %s: %w", c.Key.Name(), err)
		}
		switch code {
		case http.StatusOK:
			signed, err := c.open(msg, now, body)
			if err == nil && old < known {
				signed.Forgot, signed.Remembered = true, old
			}
			return signed, err
		case http.StatusConflict:
			seen, err := strconv.ParseInt(strings.TrimSuffix(string(body), "\n"), 10, 64)
			switch {
			case err != nil || seen < 0:
				return nil, fmt.Errorf("the witness %s refuses and doesn't say how much it saw", c.Key.Name())
			case seen > now.Size:
				return nil, &BehindError{c.Key.Name(), seen, now.Size}
			case seen == now.Size && (try > 0 || old == seen):
				return nil, &TwoHistoriesError{c.Key.Name(), seen, "another root"}
			}
			old = seen
		case http.StatusUnprocessableEntity:
			return nil, &TwoHistoriesError{c.Key.Name(), old, strings.TrimSpace(string(body))}
		default:
			return nil, fmt.Errorf("the witness %s answers %d: %s", c.Key.Name(), code, strings.TrimSpace(string(body)))
		}
	}
	return nil, fmt.Errorf("the witness %s signs for somebody else at the same time", c.Key.Name())
}

// Newest returns the newest checkpoint of a ledger that the witness signed, as
// the ledger signed it. What a witness says of a ledger is only its word; this is
// the ledger's own.
func (c *Client) Newest(ctx context.Context, origin string) ([]byte, error) {
	at := strings.TrimSuffix(c.URL, "/") + "/" + OriginID(origin) + "/checkpoint"
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, at, nil)
	if err != nil {
		return nil, err
	}
	code, body, err := c.do(r)
	if err != nil {
		return nil, fmt.Errorf("the witness %s: %w", c.Key.Name(), err)
	}
	if code != http.StatusOK {
		return nil, fmt.Errorf("the witness %s shows no checkpoint (%d)", c.Key.Name(), code)
	}
	return body, nil
}

func (c *Client) do(r *http.Request) (int, []byte, error) {
	client := c.HTTP
	if client == nil {
		client = http.DefaultClient
	}
	resp, err := client.Do(r)
	if err != nil {
		return 0, nil, err
	}
	defer resp.Body.Close()
	answer, err := io.ReadAll(io.LimitReader(resp.Body, maxAnswer))
	return resp.StatusCode, answer, err
}

func (c *Client) post(ctx context.Context, msg []byte, old, size int64, prove Prover) (int, []byte, error) {
	req := proof.Consistency{From: old, Checkpoint: msg}
	if old > 0 && old < size {
		var err error
		if req.Hashes, err = prove(old); err != nil {
			return 0, nil, err
		}
	}
	to := strings.TrimSuffix(c.URL, "/") + "/add-checkpoint"
	r, err := http.NewRequestWithContext(ctx, http.MethodPost, to, bytes.NewReader(req.Marshal()))
	if err != nil {
		return 0, nil, err
	}
	return c.do(r)
}

// open checks the witness's signature and adds it to the note.
func (c *Client) open(msg []byte, now proof.Checkpoint, lines []byte) (*Signed, error) {
	both, err := proof.AddSignatures(msg, lines)
	if err != nil {
		return nil, fmt.Errorf("the answer of the witness %s: %w", c.Key.Name(), err)
	}
	n, err := proof.OpenNote(both, note.VerifierList(c.Key))
	if err != nil {
		return nil, fmt.Errorf("the answer of the witness %s: %w", c.Key.Name(), err)
	}
	at, err := proof.CosignedAt(n.Sigs[0])
	if err != nil {
		return nil, err
	}
	// Signatures by others may stand in the answer; they are nobody's that is known here.
	kept := fmt.Appendf(bytes.Clone(msg), "— %s %s\n", n.Sigs[0].Name, n.Sigs[0].Base64)
	return &Signed{Checkpoint: now, Note: kept, At: at}, nil
}
