// Package feed hands the events of a ledger out over NATS to readers that have
// a key of their own and may do nothing but read. Who they are is asked at each
// connection, and while it lasts: whoever is sent away is cut off.
//
// It is a second NATS server in this process, without storage and without any
// way to the ledger's own. A reader of the ledger's stream could not be kept to
// reading: who may ask JetStream anything may name the subject that the answer
// goes to, and an answer that goes to a subject of the stream is stored in it.
// Here nothing that a reader sends is ever stored anywhere.
//
// Each record is published when the ledger has stored it, on
//
//	custody.<site>.<station>.<kind>
//
// (the last part is unknown for a kind that this program does not know). The
// message is the CloudEvent as the station signed it, in the structured mode of
// CloudEvents' NATS binding, with the headers
//
//	content-type: application/cloudevents+json
//	listbound-sequence: 1204
//	listbound-recorded: 2026-03-04T07:12:02Z
//	listbound-signatures: <base64 of the record's signature lines>
//
// The record as stored, whose hash is in the tree, is the message, an empty line
// and the signature lines: data + "\n\n" + lines. Sequences have no gaps, so a
// reader sees when it has missed something. It then sends a request to
//
//	events.<its public key>.after.<sequence>
//
// and gets up to a hundred messages of the same form in its inbox, and after them
// an empty one with the header listbound-size, the number of records there are.
// Its inbox begins with _INBOX.<its public key>. Who asks stands in the subject so
// that nobody can have answers sent to another's inbox; a few questions of one reader
// wait at once, and readers get theirs in turn.
package feed

import (
	"bytes"
	"context"
	"crypto/tls"
	"encoding/base64"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nkeys"

	"listbound/events"
	"listbound/ledger/proof"
)

// Source is a ledger that can be followed. A Site is one.
type Source interface {
	Name() string
	Size() int64
	ReadRecord(seq int64) ([]byte, error)
	Changes() (<-chan struct{}, func())
}

// The headers of a message.
const (
	HeaderSequence   = "listbound-sequence"
	HeaderRecorded   = "listbound-recorded"
	HeaderSignatures = "listbound-signatures"
	HeaderSize       = "listbound-size"
)

const (
	subjectRoot  = "custody"
	answerAtMost = 100
	startTime    = 15 * time.Second
	recheckEvery = 20 * time.Second
	tlsTime      = 10 * time.Second // for a handshake on a slow line
)

// What the readers together can make the server hold: each connection keeps what its reader doesn't take, up to maxPending, and is
// cut off beyond it. An answer of the largest records has 6.5 MB.
const (
	maxConnections = 256
	maxOfReader    = 4 // connections; the oldest goes for a fifth, as one may hang that a reader has long left
	maxSubjects    = 100
	maxPending     = 16 << 20
	maxPayload     = 128 << 10 // a record, and its signatures in base64
)

// Options say where to listen and for whom.
type Options struct {
	Address string // host:port
	Readers Readers
	TLS     *tls.Config // nil: without, for this machine alone
	Logger  *slog.Logger
}

// Feed is a running feed.
type Feed struct {
	src Source
	srv *server.Server
	nc  *nats.Conn
	log *slog.Logger

	entry *entry
	asks  asks
	stop  context.CancelFunc
	done  sync.WaitGroup
}

// Inbox is the prefix that a reader's inbox must have: nobody else may listen there.
func Inbox(reader string) string { return "_INBOX." + reader }

// askSubject is where a reader asks for what it missed, "*" for any reader.
func askSubject(reader string) string { return "events." + reader + ".after.*" }

func readerPermissions(key string) *server.Permissions {
	return &server.Permissions{
		Publish:   &server.SubjectPermission{Allow: []string{askSubject(key)}},
		Subscribe: &server.SubjectPermission{Allow: []string{subjectRoot + ".>", Inbox(key) + ".>"}},
	}
}

// Start begins to hand out what is recorded from now on.
func Start(src Source, o Options) (*Feed, error) {
	if o.Logger == nil {
		o.Logger = slog.New(slog.DiscardHandler)
	}
	host, n, err := hostPort(o.Address)
	if err != nil {
		return nil, err
	}
	own, err := nkeys.CreateUser()
	if err != nil {
		return nil, fmt.Errorf("feed: %w", err)
	}
	ownID, err := own.PublicKey()
	if err != nil {
		return nil, fmt.Errorf("feed: %w", err)
	}
	if keys, ok := o.Readers.(Keys); ok {
		for _, key := range keys {
			if !nkeys.IsValidPublicUserKey(key) {
				return nil, fmt.Errorf("feed: %q is not the public key of a user (it begins with U; nk -gen user makes one)", key)
			}
		}
	}
	f := &Feed{src: src, log: o.Logger, entry: &entry{own: ownID, readers: o.Readers}, asks: newAsks()}
	f.srv, err = server.NewServer(&server.Options{ServerName: "listbound-feed", Host: host, Port: n, NoSigs: true, NoLog: true,
		MaxConn: maxConnections, MaxSubs: maxSubjects, MaxPending: maxPending, MaxPayload: maxPayload,
		CustomClientAuthentication: f.entry, AlwaysEnableNonce: true, TLSConfig: o.TLS, TLSTimeout: tlsTime.Seconds()})
	if err != nil {
		return nil, fmt.Errorf("feed: %w", err)
	}
	f.srv.SetLoggerV2(&watch{log: o.Logger, readers: o.Readers}, false, false, false)
	f.entry.cut = f.srv.DisconnectClientByID
	f.srv.Start()
	if !f.srv.ReadyForConnections(startTime) {
		f.srv.Shutdown()
		return nil, fmt.Errorf("feed: nothing listens at %s; is the port free?", o.Address)
	}
	f.nc, err = nats.Connect("", nats.InProcessServer(f.srv), nats.Nkey(ownID, own.Sign), nats.Name("feed"), nats.NoReconnect())
	if err == nil {
		_, err = f.nc.Subscribe(askSubject("*"), f.asks.take)
	}
	if err != nil {
		return nil, errors.Join(fmt.Errorf("feed: %w", err), f.Close())
	}
	ctx, stop := context.WithCancel(context.Background())
	f.stop = stop
	from := src.Size()
	f.done.Go(func() { f.asks.each(ctx, f.answer) })
	changes, end := src.Changes()
	f.done.Go(func() {
		defer end()
		f.follow(ctx, from, changes)
	})
	return f, nil
}

// hostPort takes an address apart. Port 0 is any that is free.
func hostPort(address string) (host string, port int, err error) {
	host, text, err := net.SplitHostPort(address)
	if err != nil {
		return "", 0, fmt.Errorf("feed: address %q is not host:port: %w", address, err)
	}
	if port, err = strconv.Atoi(text); err != nil {
		return "", 0, fmt.Errorf("feed: address %q has no port number", address)
	}
	if port == 0 {
		port = server.RANDOM_PORT
	}
	return host, port, nil
}

// Address is where readers connect.
func (f *Feed) Address() string { return f.srv.ClientURL() }

// Close ends the feed; the readers lose their connections.
func (f *Feed) Close() error {
	if f.stop != nil {
		f.stop()
	}
	f.done.Wait()
	var err error
	if f.nc != nil {
		err = f.nc.FlushTimeout(time.Second)
		f.nc.Close()
	}
	f.srv.Shutdown()
	f.srv.WaitForShutdown()
	return err
}

func (f *Feed) follow(ctx context.Context, sent int64, changes <-chan struct{}) {
	again := time.NewTicker(recheckEvery) // what somebody was let in for can end by its date
	defer again.Stop()
	for {
		for size := f.src.Size(); sent < size; sent++ {
			m, err := f.message(sent + 1)
			if err == nil {
				err = f.nc.PublishMsg(m)
			}
			if err != nil { // the readers see the gap and ask
				f.log.Error("a record was not handed out", "seq", sent+1, "error", err)
			}
		}
		select {
		case <-ctx.Done():
			return
		case <-again.C:
			f.Recheck()
		case <-changes:
		}
	}
}

// message is one record as readers get it.
func (f *Feed) message(seq int64) (*nats.Msg, error) {
	raw, err := f.src.ReadRecord(seq)
	if err != nil {
		return nil, err
	}
	n, at, _, err := proof.SplitArrival(f.src.Name(), raw)
	if err != nil {
		return nil, fmt.Errorf("record %d: %w", seq, err)
	}
	text, signatures, ok := bytes.Cut(raw, []byte("\n\n"))
	if !ok {
		return nil, fmt.Errorf("record %d has no signature lines", seq)
	}
	m := nats.NewMsg(subjectOf(f.src.Name(), n))
	m.Data = text
	m.Header.Set("content-type", "application/cloudevents+json")
	m.Header.Set(HeaderSequence, strconv.FormatInt(seq, 10))
	m.Header.Set(HeaderRecorded, at.UTC().Format(time.RFC3339Nano))
	m.Header.Set(HeaderSignatures, base64.StdEncoding.EncodeToString(signatures))
	return m, nil
}

func subjectOf(ledger string, note []byte) string {
	station, kind := ledger, "unknown"
	if e, err := events.ParseNote(note); err == nil {
		station = e.Station
		if k := e.Kind(); k != "" {
			kind = string(k)
		}
	}
	return subjectRoot + "." + strings.Replace(station, "/", ".", 1) + "." + kind
}

// answer sends a reader what it missed, to its own inbox and nowhere else.
func (f *Feed) answer(a ask) {
	after, err := strconv.ParseInt(a.after, 10, 64)
	size := f.src.Size()
	if err != nil || after < 0 || after > size {
		after = size
	}
	for seq := after + 1; seq <= min(after+answerAtMost, size); seq++ {
		m, err := f.message(seq)
		if err != nil {
			f.log.Error("a record was not handed out", "seq", seq, "error", err)
			return
		}
		m.Subject = a.inbox
		if err := f.nc.PublishMsg(m); err != nil {
			return // the reader asks again
		}
	}
	end := nats.NewMsg(a.inbox)
	end.Header.Set(HeaderSize, strconv.FormatInt(size, 10))
	if err := f.nc.PublishMsg(end); err != nil {
		f.log.Error("an answer was not ended", "error", err)
	}
}
