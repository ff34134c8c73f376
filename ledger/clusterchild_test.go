package ledger_test

import (
	"context"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"os/signal"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"golang.org/x/mod/sumdb/note"

	"listbound/ledger"
	"listbound/ledger/ledgertest"
	"listbound/ledger/proof"
)

func init() {
	childWork[serverMode] = serveNats
	childWork[writerMode] = writeToCluster
}

const (
	serverMode = "nats-server"
	writerMode = "cluster-writer"
	childFile  = "child.json" // in the folder of a child: what it is to do
)

// natsNode is one server of a cluster.
type natsNode struct {
	Name         string
	Client, Peer int      // ports
	Routes       []string // of all
	User, Pass   string
}

// clusterWriter is a process that writes a ledger in a cluster, or stands by.
type clusterWriter struct {
	URL      string
	Stations int
	Pause    time.Duration // of each station between two records
	Fill     bool
}

func readChild(dir string, into any) error {
	data, err := os.ReadFile(filepath.Join(dir, childFile))
	if err != nil {
		return err
	}
	return json.Unmarshal(data, into)
}

// serveNats is a server that runs until it is killed.
func serveNats(dir, _ string) error {
	var n natsNode
	if err := readChild(dir, &n); err != nil {
		return err
	}
	s, err := n.start(dir)
	if err != nil {
		return err
	}
	fmt.Println("ready")
	s.WaitForShutdown()
	return nil
}

// start starts the server in this process, and waits until it takes connections.
func (n natsNode) start(dir string) (*server.Server, error) {
	opts := &server.Options{
		ServerName: n.Name, Host: "127.0.0.1", Port: n.Client, NoSigs: true, NoLog: true, JetStream: true, StoreDir: dir,
		Username: n.User, Password: n.Pass, JetStreamMaxMemory: 16 << 20, JetStreamMaxStore: 1 << 30,
	}
	if n.Peer > 0 {
		opts.Cluster = server.ClusterOpts{Name: "three", Host: "127.0.0.1", Port: n.Peer, NoAdvertise: true} // clients know all
		opts.Routes = server.RoutesFromStr(strings.Join(n.Routes, ","))
	}
	s, err := server.NewServer(opts)
	if err != nil {
		return nil, err
	}
	s.Start()
	if !s.ReadyForConnections(time.Minute) {
		return nil, errors.New("the server does not come up")
	}
	return s, nil
}

func clusterAt(url string, silence time.Duration) *ledger.Cluster {
	return &ledger.Cluster{
		Connect: func(o ...nats.Option) (*nats.Conn, error) { return nats.Connect(url, o...) },
		Where:   "the test", Route: route, Silence: silence,
	}
}

// writeToCluster stands by, and then has some stations record, each one after the other, until it is killed, told to end or
// another writes. It says what it was told is stored, and each checkpoint.
func writeToCluster(dir, _ string) error {
	var w clusterWriter
	if err := readChild(dir, &w); err != nil {
		return err
	}
	signer, verifier := childKey(ledgertest.Origin)
	c := clusterAt(w.URL, time.Second)
	c.Fill = w.Fill
	c.Tell = func(text string) { fmt.Println("tells", text) }
	var l *ledger.Ledger
	var err error
	for try := 0; try < 20; try++ { // a start may meet a cluster without a leader
		l, err = ledger.Open(context.Background(), ledger.Options{
			Dir: dir, Origin: ledgertest.Origin, Signer: signer, Verifier: verifier,
			Clock: time.Now, Command: "child", CheckpointEvery: 20 * time.Millisecond, Cluster: c,
		})
		if err == nil {
			break
		}
		fmt.Println("tells", err)
		time.Sleep(100 * time.Millisecond)
	}
	if err != nil {
		return err
	}
	if problems := l.Damage(); len(problems) > 0 {
		return fmt.Errorf("damaged: %v", problems)
	}
	if err := l.SetURL(dir); err != nil {
		return err
	}
	fmt.Println("writes", l.Size())
	return recordInCluster(l, w)
}

func recordInCluster(l *ledger.Ledger, w clusterWriter) error {
	told := make(chan os.Signal, 1)
	signal.Notify(told, syscall.SIGTERM)
	over := func() bool { return l.Fenced() || len(told) > 0 }
	var say sync.Mutex
	var wg sync.WaitGroup
	wg.Go(func() {
		for last := int64(-1); !over(); time.Sleep(30 * time.Millisecond) {
			if msg := l.SignedNote(); l.Signed().Size != last {
				last = l.Signed().Size
				say.Lock()
				fmt.Println("signed", base64.StdEncoding.EncodeToString(msg))
				say.Unlock()
			}
		}
	})
	for n := range w.Stations {
		wg.Go(func() {
			name := fmt.Sprintf("north/station-%d", n)
			key, _ := childKey(name)
			for !over() {
				seq, i, err := recordNext(l, name, key)
				say.Lock()
				if err == nil {
					fmt.Println("stored", seq, name, i)
				} else {
					fmt.Println("tells", err)
				}
				say.Unlock()
				if err != nil {
					time.Sleep(50 * time.Millisecond)
				}
				time.Sleep(w.Pause)
			}
		})
	}
	wg.Wait()
	if l.Fenced() {
		fmt.Println("fenced")
		return l.Close()
	}
	if err := l.Close(); err != nil {
		return err
	}
	fmt.Println("signed", base64.StdEncoding.EncodeToString(l.SignedNote()))
	fmt.Println("left")
	return nil
}

// recordNext records what comes after the station's last record, as a station does that reads back.
func recordNext(l *ledger.Ledger, station string, key note.Signer) (seq int64, i int, err error) {
	prev, record, err := l.Last(context.Background(), station)
	if err != nil {
		return 0, 0, err
	}
	if record != nil {
		if _, err := fmt.Sscanf(string(record), station+" %d", &i); err != nil {
			return 0, 0, err
		}
		i++
	}
	msg, err := proof.SignNote(fmt.Sprintf("%s %d %s\n", station, i, strings.Repeat("x", 300)), key)
	if err != nil {
		return 0, 0, err
	}
	out, err := l.Append(context.Background(), ledger.Entry{Station: station, Kind: "set.opened", Note: msg, ExpectPrev: prev})
	if err != nil {
		return 0, 0, err
	}
	return out[0].Seq, i, nil
}
