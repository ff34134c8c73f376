package ledger

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nuid"
)

// outgoing is one record on its way into the stream.
type outgoing struct {
	subject string
	// station is the record's, and expect the sequence of its last record, or -1 for a later record of a station within
	// one batch: the server compares with the state before the batch, so only the first record can tell.
	station string
	expect  int64
	record  []byte
	at      time.Time // when it arrived; zero where that is known already
}

// refusedError is an answer of the server that it took nothing.
type refusedError struct {
	code uint16
	text string
}

func (e *refusedError) Error() string { return e.text }

// wrongSequence reports whether an expected sequence was the reason.
func (e *refusedError) wrongSequence() bool {
	return e.code == uint16(server.JSStreamWrongLastSequenceErrF) ||
		e.code == uint16(server.JSStreamWrongLastSequenceConstantErr)
}

func subjectOf(station, kind string) string {
	return subjectRoot + "." + stationTokens(station) + "." + kind
}

func filterOf(station string) string { return subjectRoot + "." + stationTokens(station) + ".>" }

func stationTokens(station string) string { return strings.Replace(station, "/", ".", 1) }

// publish implements home.
func (e *embedded) publish(r *round, last int64) error {
	if e.syncAlways {
		return e.publishUnits(e.units(r), last)
	}
	return e.publishSingly(r.msgs, last, r.eachAnswered)
}

// publishSingly stores messages behind record number last, one after the other. Each names the number of the one before it,
// so none is stored behind one that was not, and the answer to the last one says that all were. That nobody else's record
// stands in the place of one of them the blocks show, which hold them then, byte for byte. After an error the first ones may
// have been stored. With each every message is answered, so that the error is that of the one that was not stored.
func (e *embedded) publishSingly(msgs []outgoing, last int64, each bool) error {
	var expected [1]string
	msg := nats.Msg{Header: nats.Header{"Nats-Expected-Last-Sequence": expected[:]}}
	asked := e.asked
	for i, m := range msgs {
		expected[0] = strconv.FormatInt(last+int64(i), 10)
		msg.Subject, msg.Data, msg.Reply = m.subject, m.record, ""
		if each || i == len(msgs)-1 {
			e.asked++
			msg.Reply = e.replySubject(e.asked)
		}
		err := e.faults.around("publish record", func() error { return e.nc.PublishMsg(&msg) })
		if err != nil {
			return err
		}
	}
	e.patience.Reset(apiTimeout)
	for next := last + int64(len(msgs)) - (e.asked - asked) + 1; asked < e.asked; next++ {
		asked++
		if err := e.answeredWith(asked, next); err != nil {
			return err
		}
	}
	if e.blocks == nil {
		return nil // a new stream that is read as a whole before it is used
	}
	return e.blocks.hold(msgs, last)
}

// durable implements home.
func (e *embedded) durable(msgs []outgoing) error {
	if e.syncAlways {
		return nil // the server did
	}
	bytes := int64(0)
	for _, m := range msgs {
		bytes += int64(len(m.record))
	}
	return e.blocks.sync(len(msgs), bytes)
}

// publishUnits stores units of messages behind record number last, each unit whole or not at all, where the server syncs
// each message. After an error any of them may have been stored; a refusedError says that one was not.
func (e *embedded) publishUnits(units [][]outgoing, last int64) error {
	asked := e.asked
	end := last
	for _, unit := range units {
		if err := e.sendUnit(unit, end); err != nil {
			return err
		}
		end += int64(len(unit))
	}
	// Every unit is answered, and each answer looked at: behind a unit that was refused, and a record of somebody else
	// in its place, the next one would be accepted.
	e.patience.Reset(apiTimeout)
	for _, unit := range units {
		asked++
		last += int64(len(unit))
		if err := e.answeredWith(asked, last); err != nil {
			return err
		}
	}
	return nil
}

// answeredWith waits until request number asked is answered with a record's number.
func (e *embedded) answeredWith(asked, want int64) error {
	reply, err := e.answer(asked)
	if err != nil {
		return err
	}
	seq, err := readAck(streamName, reply.Data)
	if err == nil && seq != want {
		err = fmt.Errorf("the stream gave number %d where %d was next", seq, want)
	}
	return err
}

// sendUnit sends one unit, as an atomic batch if it has several messages, and asks for one answer. end is the sequence
// of the record it goes behind.
func (e *embedded) sendUnit(unit []outgoing, end int64) error {
	batch := ""
	if len(unit) > 1 {
		batch = nuid.Next()
	}
	for i, m := range unit {
		msg := &nats.Msg{Subject: m.subject, Header: unitHeader(unit, i, end, batch, filterOf(m.station)), Data: m.record}
		if i == len(unit)-1 {
			e.asked++
			msg.Reply = e.replySubject(e.asked)
		}
		if err := e.nc.PublishMsg(msg); err != nil {
			return err
		}
	}
	return nil
}

// unitHeader is the header of message i of a unit that goes behind record number last, in an atomic batch if that is named.
// The filter is that of the message's station, as the stream's subjects are called.
func unitHeader(unit []outgoing, i int, last int64, batch, filter string) nats.Header {
	h := nats.Header{}
	if i == 0 {
		// No one else writes here. If somebody does, the sequences this process counts with are wrong, and it must stop.
		h["Nats-Expected-Last-Sequence"] = []string{strconv.FormatInt(last, 10)}
	}
	if expect := unit[i].expect; expect >= 0 {
		h["Nats-Expected-Last-Subject-Sequence"] = []string{strconv.FormatInt(expect, 10)}
		h["Nats-Expected-Last-Subject-Sequence-Subject"] = []string{filter}
	}
	if batch != "" {
		h["Nats-Batch-Id"] = []string{batch}
		h["Nats-Batch-Sequence"] = []string{strconv.Itoa(i + 1)}
		if i == len(unit)-1 {
			h["Nats-Batch-Commit"] = []string{"1"}
		}
	}
	return h
}

func (e *embedded) replySubject(asked int64) string {
	return e.inbox + "." + strconv.FormatInt(asked, 10)
}

// answer waits for the answer to request number asked, or until the server cannot write any more. Only the committer
// calls it.
func (e *embedded) answer(asked int64) (*nats.Msg, error) {
	for {
		select {
		case reply, ok := <-e.answers:
			if !ok {
				return nil, nats.ErrConnectionClosed
			}
			if reply.Subject != e.replySubject(asked) {
				continue // the answer to a request that was given up
			}
			if reply.Header.Get("Status") == "503" {
				return nil, nats.ErrNoResponders
			}
			return reply, nil
		case <-e.log.failedWrite():
			return nil, e.log.writeFailure()
		case <-e.closed:
			return nil, nats.ErrConnectionClosed
		case <-e.patience.C:
			return nil, fmt.Errorf("the stream did not answer within %s", apiTimeout)
		}
	}
}

var plainAck = []byte(`{"stream":"` + streamName + `","seq":`)

func readAck(stream string, data []byte) (int64, error) {
	// A round has many of the plain kind, which need no JSON decoder.
	if seq, ok := bytes.CutPrefix(data, plainAck); ok && stream == streamName {
		if seq, ok = bytes.CutSuffix(seq, []byte("}")); ok {
			if n, err := strconv.ParseInt(string(seq), 10, 64); err == nil && n > 0 {
				return n, nil
			}
		}
	}
	var ack struct {
		Stream string `json:"stream"`
		Seq    int64  `json:"seq"`
		Error  *struct {
			Code        uint16 `json:"err_code"`
			Description string `json:"description"`
		} `json:"error"`
	}
	if err := json.Unmarshal(data, &ack); err != nil {
		return 0, fmt.Errorf("cannot read the stream's answer: %w", err)
	}
	if ack.Error != nil {
		return 0, &refusedError{code: ack.Error.Code, text: ack.Error.Description}
	}
	if ack.Stream != stream || ack.Seq <= 0 {
		return 0, fmt.Errorf("the stream answered without a sequence: %.200q", data)
	}
	return ack.Seq, nil
}

// settle waits until the stream has dealt with all that was sent before: it publishes a message that cannot be accepted,
// on the same connection, and takes any answer. Only then does the stream's state tell the outcome of an earlier
// publish.
func (e *embedded) settle(*round, int64) (int64, error) {
	// Not through publish: that gives up at once when the server cannot write, and the fence is what comes after.
	reply, err := e.nc.RequestMsg(&nats.Msg{
		Subject: subjectRoot + ".fence.fence.fence",
		Header:  nats.Header{"Nats-Expected-Last-Sequence": []string{strconv.FormatInt(1<<62, 10)}},
	}, apiTimeout)
	if err != nil {
		return 0, err
	}
	var refused *refusedError
	if _, err := readAck(streamName, reply.Data); !errors.As(err, &refused) {
		return 0, fmt.Errorf("the stream did not refuse an impossible sequence: %v", err)
	}
	info, err := streamInfo(e.nc, streamName, nil, apiTimeout)
	if err != nil {
		return 0, err
	}
	return int64(info.State.LastSeq), nil
}

// lastOf implements home.
func (e *embedded) lastOf(filter string) (int64, error) {
	reply, err := e.nc.Request("$JS.API.DIRECT.GET."+streamName+"."+filter, nil, apiTimeout)
	if err != nil {
		return 0, err
	}
	switch status := reply.Header.Get("Status"); status {
	case "":
		return strconv.ParseInt(reply.Header.Get("Nats-Sequence"), 10, 64)
	case "404":
		return 0, nil
	default:
		return 0, fmt.Errorf("the stream answered %s %s", status, reply.Header.Get("Description"))
	}
}

const (
	readBatch      = 1000
	readBatchBytes = 4 << 20
)

// read implements home.
func (e *embedded) read(
	ctx context.Context, from, last int64, fn func(seq int64, subject string, record []byte) error,
) error {
	from, err := e.looker.read(ctx, from, last, fn)
	if err != nil || from > last {
		return err
	}
	for {
		lacks := int64(0)
		err := readDirect(ctx, e.nc, streamName, apiTimeout, from, last, fn, func(seq int64) (bool, error) {
			lacks = seq
			return false, errLacks
		})
		if !errors.Is(err, errLacks) {
			return err
		}
		if from, err = e.behind(lacks); err != nil {
			return err
		}
	}
}

var errLacks = errors.New("the server does not have this record")

// behind returns the record to go on with where the server does not have one: the next, or that with which the next block
// begins, since of a packed block that is damaged it has none, and finds that out for each anew.
func (e *embedded) behind(seq int64) (int64, error) {
	if e.blocks == nil {
		return seq + 1, nil
	}
	msgs := e.blocks.msgs
	numbers, err := blockNumbers(msgs)
	if err != nil {
		return 0, err
	}
	next := int64(math.MaxInt64)
	for _, number := range slices.Backward(numbers) {
		first, err := firstInBlock(filepath.Join(msgs, blockName(number)))
		if err != nil {
			return 0, err
		}
		if first > seq {
			next = first
			continue
		}
		if _, err = new(blockReader).read(msgs, number); errors.Is(err, errPackedDamaged) {
			return next, nil
		}
		break
	}
	return seq + 1, nil
}

// readDirect reads as home.read says, from whichever server of the stream answers first; each answer may take so long. What
// it does not have is skipped if absent says so of the next record, or if there is no absent.
func readDirect(
	ctx context.Context, nc *nats.Conn, stream string, patience time.Duration, from, last int64,
	fn func(seq int64, subject string, record []byte) error, absent func(seq int64) (bool, error),
) error {
	inbox := nats.NewInbox()
	sub, err := nc.SubscribeSync(inbox)
	if err != nil {
		return err
	}
	defer sub.Unsubscribe() //nolint:errcheck // the connection may be closed; then the subscription is gone as well
	if err := sub.SetPendingLimits(-1, -1); err != nil {
		return err
	}
	for from <= last {
		if err := ctx.Err(); err != nil {
			return err
		}
		req := fmt.Sprintf(`{"seq":%d,"batch":%d,"max_bytes":%d}`, from, min(readBatch, last-from+1), readBatchBytes)
		if err := nc.PublishRequest("$JS.API.DIRECT.GET."+stream, inbox, []byte(req)); err != nil {
			return err
		}
		next, some, err := readReplies(ctx, sub, patience, from, last, fn)
		if err != nil {
			return err
		}
		if from = next; some {
			continue
		}
		skip := true
		if absent != nil {
			if skip, err = absent(from); err != nil {
				return err
			}
		}
		if skip {
			from++
		}
	}
	return nil
}

// readReplies takes the records that one request brings. It returns the sequence to go on with and reports whether
// there were any records.
func readReplies(
	ctx context.Context, sub *nats.Subscription, patience time.Duration, from, last int64,
	fn func(seq int64, subject string, record []byte) error,
) (next int64, some bool, err error) {
	next = from
	for {
		msg, err := nextMsg(ctx, sub, patience)
		if err != nil {
			return 0, false, fmt.Errorf("reading record %d from the stream: %w", next, err)
		}
		switch status := msg.Header.Get("Status"); status {
		case "204", "404":
			return next, some, nil
		case "":
			some = true
			seq, err := strconv.ParseInt(msg.Header.Get("Nats-Sequence"), 10, 64)
			if err != nil {
				return 0, false, fmt.Errorf("reading record %d from the stream: it came without a sequence", next)
			}
			if seq < next || seq > last {
				// Stepping over lost records can lead beyond the end of what was asked for.
				next = max(next, seq)
				continue
			}
			if err := fn(seq, msg.Header.Get("Nats-Subject"), msg.Data); err != nil {
				return 0, false, err
			}
			next = seq + 1
		default:
			return 0, false, fmt.Errorf("reading record %d from the stream: it answered %s %s", next,
				status, msg.Header.Get("Description"))
		}
	}
}

func nextMsg(ctx context.Context, sub *nats.Subscription, patience time.Duration) (*nats.Msg, error) {
	ctx, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	return sub.NextMsgWithContext(ctx)
}

// deleted implements home.
func (e *embedded) deleted() ([]int64, error) {
	reply, err := e.nc.Request("$JS.API.STREAM.INFO."+streamName, []byte(`{"deleted_details":true}`), apiTimeout)
	if err != nil {
		return nil, err
	}
	var r server.JSApiStreamInfoResponse
	if err := json.Unmarshal(reply.Data, &r); err != nil {
		return nil, err
	}
	if r.Error != nil || r.StreamInfo == nil {
		return nil, errNoStream
	}
	return sequences(r.State.Deleted), nil
}

func sequences(in []uint64) []int64 {
	var out []int64
	for _, s := range in {
		out = append(out, int64(s))
	}
	return out
}
