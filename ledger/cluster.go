package ledger

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"strings"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nuid"
)

// Cluster says that the stream lives in a NATS cluster with JetStream, kept there by three servers, and not in this
// process. Several processes may be started on it, each with a folder of its own: one writes, the others stand by.
type Cluster struct {
	// Connect connects with what the cluster wants to be shown, and with the options given.
	Connect func(...nats.Option) (*nats.Conn, error)
	// Where names the cluster to people, without anything secret.
	Where string
	// Route returns the station and the kind of a record, for those that are put back into the stream.
	Route Route
	// Fill has a stream that is new or empty filled with the records of the folder.
	Fill bool
	// Silence is after how long a writer that was heard, and answers no more, is followed. Default 10 s: the cluster may
	// need 9 to find a leader.
	Silence time.Duration
	// Fenced is called when another process has taken over as the writer. May be nil.
	Fenced func(error)
	// Tell is called with what people should know: that this process stands by, or writes. May be nil.
	Tell func(text string)
}

const (
	replicasWanted   = 3
	clusterTry       = 3 * time.Second  // for one answer
	clusterPatience  = 30 * time.Second // for a round, or a question
	clusterAgain     = 50 * time.Millisecond
	defaultSilence   = 10 * time.Second
	firstSilence     = time.Second // of a writer that was never heard
	clusterPing      = time.Second // a stopped server takes none; the library's default waits two minutes
	clusterPingsLost = 2
)

// clustered is the stream in a cluster. A round is one atomic batch that names the number of the record before it.
// Messages sent one by one, each naming its last sequence, would be quicker sent and wrong: where one of them is refused
// and another writer's record takes its number, the next one's expectation holds, behind that writer's back.
type clustered struct {
	nc      *nats.Conn
	log     *slog.Logger
	where   string
	name    string // of the stream, and the first part of its subjects
	journal *journal
	stopped <-chan struct{}
	asked   *nats.Subscription // by those who stand by
	writes  func() bool        // nil while it only stands by
}

// fencedError reports that another process writes the ledger now.
type fencedError struct{ from int64 }

func (e *fencedError) Error() string {
	return fmt.Sprintf("another program has taken over as this ledger's writer in the NATS cluster, from record %d on; this one records "+
		"nothing more: start it again, and it stands by", e.from)
}

// streamOf returns the name that a ledger's stream has in a cluster, which may hold those of others.
func streamOf(origin string) string {
	name := []byte("LISTBOUND-" + origin)
	for i, c := range name {
		if (c < 'a' || c > 'z') && (c < 'A' || c > 'Z') && (c < '0' || c > '9') && c != '-' {
			name[i] = '_'
		}
	}
	return string(name)
}

// join connects to the cluster, and finds or makes the stream there.
func (l *Ledger) join() (*clustered, error) {
	o := l.opts.Cluster
	c := &clustered{log: l.log, where: o.Where, name: streamOf(l.opts.Origin), stopped: l.stop}
	var err error
	onError := func(_ *nats.Conn, _ *nats.Subscription, err error) { l.log.Warn("the NATS cluster", "error", err) }
	c.nc, err = o.Connect(nats.Name("listbound"), nats.MaxReconnects(-1), nats.ReconnectBufSize(-1),
		nats.ReconnectWait(clusterAgain), nats.PingInterval(clusterPing), nats.MaxPingsOutstanding(clusterPingsLost),
		nats.Timeout(clusterTry), nats.ErrorHandler(onError))
	if err != nil {
		return nil, fmt.Errorf("the NATS cluster at %s cannot be reached: %w; see that it runs, and that what it is shown "+
			"(user and password, or the credentials file) is right", o.Where, err)
	}
	info, err := c.find(l.tell)
	if err == nil && info.Config.Replicas < replicasWanted {
		l.log.Warn("fewer than three servers keep the ledger's stream: records can be lost with them that this folder's disk alone "+
			"has then", "stream", c.name, "replicas", info.Config.Replicas, "wanted", replicasWanted)
		l.tell("warning: the stream %s is kept by %d server(s) of the cluster, not by three; only this machine's disk stands beside them",
			c.name, info.Config.Replicas)
	}
	if err == nil {
		c.journal, err = openJournal(l.opts.Dir, func() int64 { return l.Signed().Size }, l.opts.faults)
	}
	if err != nil {
		c.nc.Close()
		return nil, err
	}
	return c, nil
}

// find returns the state of the stream, and makes it where it isn't there.
func (c *clustered) find(tell func(format string, args ...any)) (*server.StreamInfo, error) {
	info, err := c.info(nil)
	if !errors.Is(err, errNoStream) {
		return info, err
	}
	cfg := streamConfig()
	cfg.Name, cfg.Subjects, cfg.Replicas = c.name, []string{c.name + strings.TrimPrefix(streamSubject, subjectRoot)}, replicasWanted
	err = c.create(cfg, tell)
	var refused *refusedError
	if errors.As(err, &refused) && refused.code == uint16(server.JSStreamReplicasNotSupportedErr) {
		cfg.Replicas = 1 // it is no cluster; that is warned of
		err = c.create(cfg, tell)
	}
	if errors.Is(err, ErrClosed) {
		return nil, err
	}
	if err != nil {
		return nil, fmt.Errorf("%w in the NATS cluster at %s; it needs JetStream on three servers, and a user who may make the stream %s",
			err, c.where, c.name)
	}
	return c.info(nil)
}

// create makes the stream. Where too few servers are up to keep it, it waits for more: a cluster that was started a moment
// ago may not have heard of all its servers yet.
func (c *clustered) create(cfg server.StreamConfig, tell func(format string, args ...any)) error {
	until := time.Now().Add(clusterPatience)
	for told := false; ; told = true {
		_, err := createStream(c.nc, cfg)
		var refused *refusedError
		if !errors.As(err, &refused) || refused.code != uint16(server.JSClusterNoPeersErrF) || time.Now().After(until) {
			return err
		}
		if !told {
			tell("waiting up to %v for %d servers of the NATS cluster at %s that can keep the stream %s: %v",
				clusterPatience, cfg.Replicas, c.where, c.name, err)
		}
		if !c.wait() {
			return ErrClosed
		}
	}
}

// info returns the state of the stream as its leader says it, with what is ours about names as elsewhere.
func (c *clustered) info(req []byte) (info *server.StreamInfo, err error) {
	err = c.untilAnswered(func() error {
		info, err = streamInfo(c.nc, c.name, req, clusterTry)
		if err == nil && info.Cluster != nil && info.Cluster.Leader == "" {
			return errors.New("the stream has no leader at the moment")
		}
		return err
	})
	if err != nil {
		return nil, err
	}
	for i, s := range info.Config.Subjects {
		info.Config.Subjects[i] = c.ours(s)
	}
	return info, nil
}

// ours returns a subject of the stream as it would be in the embedded server, theirs the other way round.
func (c *clustered) ours(subject string) string {
	if rest, ok := strings.CutPrefix(subject, c.name+"."); ok {
		return subjectRoot + "." + rest
	}
	return subject
}

func (c *clustered) theirs(subject string) string {
	return c.name + strings.TrimPrefix(subject, subjectRoot)
}

// untilAnswered asks again while the cluster has no leader or a server goes away.
func (c *clustered) untilAnswered(ask func() error) error {
	until := time.Now().Add(clusterPatience)
	for {
		err := ask()
		if err == nil || errors.Is(err, errNoStream) || errors.Is(err, errNoRecord) {
			return err
		}
		var refused *refusedError
		if errors.As(err, &refused) && refused.code == uint16(server.JSNotEnabledForAccountErr) &&
			time.Until(until) < clusterPatience-clusterTry { // a server that has just started may say so for a moment
			return fmt.Errorf("the NATS cluster at %s: %w; the ledger needs JetStream, on three servers, and the user of an account "+
				"that has it", c.where, err)
		}
		if time.Now().After(until) {
			return fmt.Errorf("the NATS cluster at %s does not answer: %w", c.where, err)
		}
		if !c.wait() {
			return ErrClosed
		}
	}
}

// wait waits a moment. It reports false when the ledger is closed.
func (c *clustered) wait() bool {
	select {
	case <-c.stopped:
		return false
	case <-time.After(clusterAgain):
		return true
	}
}

// publish implements home.
func (c *clustered) publish(r *round, last int64) error { return c.send(r.msgs, last) }

// send stores messages behind record number last, all of them or none.
func (c *clustered) send(msgs []outgoing, last int64) error {
	batch := ""
	if len(msgs) > 1 {
		batch = nuid.Next()
	}
	for i, m := range msgs {
		msg := &nats.Msg{Subject: c.theirs(m.subject), Header: unitHeader(msgs, i, last, batch, c.theirs(filterOf(m.station))), Data: m.record}
		if i < len(msgs)-1 {
			if err := c.nc.PublishMsg(msg); err != nil {
				return err
			}
			continue
		}
		reply, err := c.nc.RequestMsg(msg, clusterTry)
		if err != nil {
			return err
		}
		seq, err := readAck(c.name, reply.Data)
		if err != nil {
			return err
		}
		if want := last + int64(len(msgs)); seq != want {
			return fmt.Errorf("the stream gave number %d where %d was next", seq, want)
		}
	}
	return nil
}

// durable implements home.
func (c *clustered) durable(msgs []outgoing) error { return c.journal.append(msgs) }

// settle implements home. A server that answers "not there" may be behind, and what was sent may still be under way, so
// nothing is ever taken for lost: the round is sent again with the same expectation, until it is there, or another
// writer's record in its place.
func (c *clustered) settle(r *round, last int64) (int64, error) {
	end := last + int64(len(r.msgs))
	until := time.Now().Add(clusterPatience)
	for {
		record, err := c.get(last + 1)
		switch {
		case errors.Is(err, errNoRecord):
			if err = c.send(r.msgs, last); err == nil {
				return end, nil
			}
		case err == nil && !bytes.Equal(record, r.msgs[0].record):
			return 0, &fencedError{last + 1}
		case err == nil:
			var info *server.StreamInfo
			if info, err = c.info(nil); err == nil && int64(info.State.LastSeq) >= end {
				return end, nil
			}
		}
		if time.Now().After(until) {
			return 0, fmt.Errorf("the NATS cluster at %s does not take the record: %w", c.where, err)
		}
		if !c.wait() {
			return 0, ErrClosed
		}
	}
}

var errNoRecord = errors.New("there is no such record in the stream")

// get returns a record as the stream's leader has it.
func (c *clustered) get(seq int64) (record []byte, err error) {
	m, err := c.message(fmt.Sprintf(`{"seq":%d}`, seq))
	if err != nil {
		return nil, err
	}
	return m.Data, nil
}

// lastOf implements home. The leader is asked: another replica may be behind.
func (c *clustered) lastOf(filter string) (int64, error) {
	m, err := c.message(fmt.Sprintf(`{"last_by_subj":%q}`, c.theirs(filter)))
	if errors.Is(err, errNoRecord) {
		return 0, nil
	}
	if err != nil {
		return 0, err
	}
	return int64(m.Sequence), nil
}

// message asks the stream's leader for one message.
func (c *clustered) message(req string) (m *server.StoredMsg, err error) {
	err = c.untilAnswered(func() error {
		m, err = c.messageOnce(req)
		return err
	})
	return m, err
}

func (c *clustered) messageOnce(req string) (*server.StoredMsg, error) {
	reply, err := c.nc.Request("$JS.API.STREAM.MSG.GET."+c.name, []byte(req), clusterTry)
	if err != nil {
		return nil, err
	}
	var r server.JSApiMsgGetResponse
	if err := json.Unmarshal(reply.Data, &r); err != nil {
		return nil, err
	}
	switch {
	case r.Error != nil && r.Error.ErrCode == uint16(server.JSNoMessageFoundErr):
		return nil, errNoRecord
	case r.Error != nil:
		return nil, errors.New(r.Error.Description)
	case r.Message == nil:
		return nil, errors.New("the stream answered without a message")
	}
	return r.Message, nil
}

// getOnce is get that asks once.
func (c *clustered) getOnce(seq int64) (*server.StoredMsg, error) {
	return c.messageOnce(fmt.Sprintf(`{"seq":%d}`, seq))
}

// read implements home. Any replica may answer, which makes it quick; what one of them lacks the leader is asked for.
func (c *clustered) read(
	ctx context.Context, from, last int64, fn func(seq int64, subject string, record []byte) error,
) error {
	next, failed := from, error(nil)
	absent := func(seq int64) (bool, error) {
		_, err := c.get(seq)
		if errors.Is(err, errNoRecord) {
			return true, nil
		}
		c.wait()
		return false, err
	}
	until := time.Now().Add(clusterPatience)
	for {
		err := readDirect(ctx, c.nc, c.name, clusterTry, next, last, func(seq int64, subject string, record []byte) error {
			next, until = seq+1, time.Now().Add(clusterPatience)
			failed = fn(seq, c.ours(subject), record)
			return failed
		}, absent)
		if err == nil || failed != nil || ctx.Err() != nil || time.Now().After(until) || !c.wait() {
			return err
		}
	}
}

// deleted implements home.
func (c *clustered) deleted() ([]int64, error) {
	info, err := c.info([]byte(`{"deleted_details":true}`))
	if err != nil {
		return nil, err
	}
	return sequences(info.State.Deleted), nil
}

func (c *clustered) stop() error {
	if c.writes != nil && c.writes() { // those who stand by need not wait
		_ = errors.Join(c.nc.Publish(c.left(), nil), c.nc.FlushTimeout(clusterTry))
	}
	c.nc.Close()
	return c.journal.close()
}

// tell tells people something.
func (l *Ledger) tell(format string, args ...any) {
	if l.opts.Cluster.Tell != nil {
		l.opts.Cluster.Tell(fmt.Sprintf(format, args...))
	}
}
