package ledger

import (
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"path/filepath"
	"reflect"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nkeys"
)

const (
	streamName    = "CUSTODY"
	subjectRoot   = "custody"
	streamSubject = subjectRoot + ".*.*.>"
	apiTimeout    = 15 * time.Second
)

// streamConfig returns the settings that the stream must have: nothing ever leaves it.
func streamConfig() server.StreamConfig {
	return server.StreamConfig{
		Name:               streamName,
		Subjects:           []string{streamSubject},
		Storage:            server.FileStorage,
		Retention:          server.LimitsPolicy,
		Discard:            server.DiscardNew,
		Replicas:           1,
		MaxConsumers:       -1,
		MaxMsgs:            -1,
		MaxBytes:           -1,
		MaxMsgsPer:         -1,
		MaxMsgSize:         -1,
		DenyDelete:         true,
		DenyPurge:          true,
		AllowDirect:        true,
		AllowAtomicPublish: true,
	}
}

// leastWindow is the shortest time for which the server can look for messages of one id. Ours have none: each names the one before
// it. Of the time before a start it reads all that lies in the window, two minutes where nothing is said.
const leastWindow = 100 * time.Millisecond

// embedded is the server inside this process and the everyday connection to it. There is no listener: the only ways in
// are the two keys made here, which never leave memory.
type embedded struct {
	srv *server.Server
	nc  *nats.Conn
	log *serverLog

	syncAlways bool    // the server syncs every message before it acknowledges it; else the publisher must
	blocks     *blocks // what the publisher syncs; nil where the stream is only read or made

	looker *looker // looks at the blocks that are full; nil where blocks is

	closed chan struct{} // closed with the everyday connection
	faults *faults

	// For the committer's requests: one inbox for all answers, so that a publish costs no more than it must. It holds
	// the answers of a round, mostly one and at most mostAtOnce, besides those of rounds that were given up.
	inbox    string
	answers  chan *nats.Msg
	asked    int64 // number of the last request
	patience *time.Timer
}

// everydayPermissions list all that the ledger does after its start: append, read, ask for the state. Everything else
// is refused, so no mistake in this program can update, purge or delete the stream.
func everydayPermissions() *server.Permissions {
	return &server.Permissions{
		Publish: &server.SubjectPermission{Allow: []string{
			streamSubject,
			"$JS.API.STREAM.INFO." + streamName,
			"$JS.API.DIRECT.GET." + streamName,
			"$JS.API.DIRECT.GET." + streamName + ".>",
		}},
		Subscribe: &server.SubjectPermission{Allow: []string{"_INBOX.>"}},
	}
}

// starting says how the server is started.
type starting struct {
	mayCreate  bool // a stream where there is none
	syncAlways bool
	packs      server.StoreCompression // of a stream that is created, or is to be changed
	change     bool
	log        *slog.Logger
}

// serverSyncs reports whether the server syncs every message itself: where that is asked for, and under a version whose files
// are not known here.
func serverSyncs(asked bool) bool { return asked || server.VERSION != layoutVersion }

// startServer starts JetStream on dir/stream and returns it with the stream's own idea of itself. When a stream may not be
// created and is not there, info is nil: a lost stream must not be replaced by an empty one.
func startServer(dir string, o starting) (*embedded, *server.StreamInfo, error) {
	syncAlways := serverSyncs(o.syncAlways)
	bootstrap, bootstrapID, err := newUser()
	if err != nil {
		return nil, nil, err
	}
	everyday, everydayID, err := newUser()
	if err != nil {
		return nil, nil, err
	}
	storeDir := filepath.Join(dir, "stream")
	srv, err := server.NewServer(&server.Options{
		ServerName:         "listbound",
		DontListen:         true,
		NoSigs:             true,
		NoLog:              true,
		JetStream:          true,
		StoreDir:           storeDir,
		SyncAlways:         syncAlways,
		JetStreamMaxMemory: 64 << 20,
		// The disk itself is the limit. The server's default, a share of what is free now, shrinks with every restart.
		JetStreamMaxStore: 1 << 60,
		Nkeys: []*server.NkeyUser{
			{Nkey: bootstrapID},
			{Nkey: everydayID, Permissions: everydayPermissions()},
		},
	})
	if err != nil {
		return nil, nil, fmt.Errorf("cannot prepare the embedded server: %w", err)
	}
	e := &embedded{
		srv:        srv,
		log:        newServerLog(o.log),
		syncAlways: syncAlways,
		closed:     make(chan struct{}),
		answers:    make(chan *nats.Msg, 4*mostAtOnce),
		patience:   time.NewTimer(apiTimeout),
	}
	srv.SetLoggerV2(e.log, false, false, false)
	srv.Start()
	// Start returns at once if the server gives up, and nothing else tells.
	if e.log.gaveUp() || !srv.ReadyForConnections(apiTimeout) || !srv.JetStreamEnabled() {
		_ = e.stop() // why it did not start is said
		return nil, nil, fmt.Errorf("the embedded server did not start on %s: %s", storeDir, e.log.last())
	}
	info, err := e.open(bootstrap, everyday, o)
	if err != nil {
		return nil, nil, errors.Join(err, e.stop())
	}
	return e, info, nil
}

// newUser makes the key of a connection and returns its public part as well.
func newUser() (key nkeys.KeyPair, id string, err error) {
	if key, err = nkeys.CreateUser(); err != nil {
		return nil, "", err
	}
	id, err = key.PublicKey()
	return key, id, err
}

// open finds or creates the stream with the bootstrap key and connects with the everyday key.
func (e *embedded) open(bootstrap, everyday nkeys.KeyPair, o starting) (*server.StreamInfo, error) {
	boot, err := e.connect("bootstrap", bootstrap)
	if err != nil {
		return nil, err
	}
	defer boot.Close()
	info, err := streamInfo(boot, streamName, nil, apiTimeout)
	switch {
	case errors.Is(err, errNoStream) && o.mayCreate:
		cfg := streamConfig()
		cfg.Compression, cfg.Duplicates = o.packs, o.window()
		info, err = createStream(boot, cfg)
	case err == nil && o.change:
		cfg := info.Config
		cfg.Compression, cfg.Duplicates = o.packs, o.window()
		info, err = changeStream(boot, cfg)
	}
	if err != nil && !errors.Is(err, errNoStream) {
		return nil, err
	}
	if e.nc, err = e.connect("everyday", everyday); err != nil {
		return nil, err
	}
	e.nc.SetClosedHandler(func(*nats.Conn) { close(e.closed) })
	e.inbox = e.nc.NewRespInbox()
	if _, err := e.nc.ChanSubscribe(e.inbox+".*", e.answers); err != nil {
		return nil, err
	}
	return info, nil
}

func (e *embedded) connect(name string, key nkeys.KeyPair) (*nats.Conn, error) {
	id, err := key.PublicKey()
	if err != nil {
		return nil, err
	}
	onError := func(_ *nats.Conn, _ *nats.Subscription, err error) { e.log.Errorf("connection %s: %v", name, err) }
	nc, err := nats.Connect("", nats.InProcessServer(e.srv), nats.Name(name), nats.Nkey(id, key.Sign),
		nats.NoReconnect(), nats.Timeout(apiTimeout), nats.ErrorHandler(onError))
	if err != nil {
		return nil, fmt.Errorf("cannot connect to the embedded server: %w", err)
	}
	return nc, nil
}

func (e *embedded) stop() error {
	if e.looker != nil {
		e.looker.end()
	}
	if e.nc != nil {
		e.nc.Close()
	}
	e.srv.Shutdown()
	e.srv.WaitForShutdown()
	if e.blocks == nil {
		return nil
	}
	return e.blocks.close()
}

var errNoStream = errors.New("there is no stream")

func streamInfo(nc *nats.Conn, stream string, req []byte, patience time.Duration) (*server.StreamInfo, error) {
	msg, err := nc.Request("$JS.API.STREAM.INFO."+stream, req, patience)
	if err != nil {
		return nil, fmt.Errorf("the server does not say how the stream is: %w", err)
	}
	var r server.JSApiStreamInfoResponse
	if err := json.Unmarshal(msg.Data, &r); err != nil {
		return nil, fmt.Errorf("stream state: %w", err)
	}
	if r.Error != nil {
		if r.Error.ErrCode == uint16(server.JSStreamNotFoundErr) {
			return nil, errNoStream
		}
		return nil, fmt.Errorf("stream state: %w", &refusedError{code: r.Error.ErrCode, text: r.Error.Description})
	}
	return r.StreamInfo, nil
}

func createStream(nc *nats.Conn, cfg server.StreamConfig) (*server.StreamInfo, error) {
	return setStream(nc, "CREATE", "create", cfg)
}

func changeStream(nc *nats.Conn, cfg server.StreamConfig) (*server.StreamInfo, error) {
	return setStream(nc, "UPDATE", "change", cfg)
}

// setStream asks for a stream with these settings. The answers to both requests have the same form.
func setStream(nc *nats.Conn, request, todo string, cfg server.StreamConfig) (*server.StreamInfo, error) {
	req, err := json.Marshal(cfg)
	if err != nil {
		return nil, err
	}
	msg, err := nc.Request("$JS.API.STREAM."+request+"."+cfg.Name, req, apiTimeout)
	if err != nil {
		return nil, fmt.Errorf("cannot %s the stream: %w", todo, err)
	}
	var r server.JSApiStreamCreateResponse
	if err := json.Unmarshal(msg.Data, &r); err != nil {
		return nil, fmt.Errorf("cannot %s the stream: %w", todo, err)
	}
	if r.Error != nil {
		return nil, fmt.Errorf("cannot %s the stream: %w", todo, &refusedError{code: r.Error.ErrCode, text: r.Error.Description})
	}
	return r.StreamInfo, nil
}

// checkStreamConfig compares the settings that keep records in the stream with those they must have.
func checkStreamConfig(got server.StreamConfig) []Problem {
	var problems []Problem
	want := streamConfig()
	add := func(name string, got, want any) {
		if !reflect.DeepEqual(got, want) {
			problems = append(problems, Problem{What: fmt.Sprintf("stream setting %s is %v, want %v", name, got, want)})
		}
	}
	add("subjects", got.Subjects, want.Subjects)
	add("storage", got.Storage, want.Storage)
	add("retention", got.Retention, want.Retention)
	add("discard", got.Discard, want.Discard)
	add("max_msgs", got.MaxMsgs, want.MaxMsgs)
	add("max_bytes", got.MaxBytes, want.MaxBytes)
	add("max_age", got.MaxAge, want.MaxAge)
	add("max_msgs_per_subject", got.MaxMsgsPer, want.MaxMsgsPer)
	add("max_msg_size", got.MaxMsgSize, want.MaxMsgSize)
	add("deny_delete", got.DenyDelete, want.DenyDelete)
	add("deny_purge", got.DenyPurge, want.DenyPurge)
	add("allow_rollup_hdrs", got.AllowRollup, want.AllowRollup)
	add("allow_msg_ttl", got.AllowMsgTTL, want.AllowMsgTTL)
	add("allow_direct", got.AllowDirect, want.AllowDirect)
	add("allow_atomic", got.AllowAtomicPublish, want.AllowAtomicPublish)
	add("no_ack", got.NoAck, want.NoAck)
	add("sealed", got.Sealed, want.Sealed)
	add("sources", len(got.Sources), 0)
	add("mirror", got.Mirror != nil, false)
	return problems
}
