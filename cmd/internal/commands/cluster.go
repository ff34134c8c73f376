package commands

import (
	"context"
	"errors"
	"fmt"
	"net/url"
	"os"
	"strings"

	"github.com/nats-io/nats.go"
	"github.com/spf13/cobra"

	"listbound/ledger"
)

// Where the cluster is, and who asks it, may stand in the environment: other programs see a command line.
const (
	natsVariable         = "LISTBOUND_NATS"
	natsUserVariable     = "LISTBOUND_NATS_USER"
	natsPasswordVariable = "LISTBOUND_NATS_PASSWORD"
)

// cluster is the NATS cluster that keeps the records, and how it is asked.
type cluster struct {
	servers         string
	creds           string
	ca, cert, key   string
	fill            bool
	where           []string // servers without what is secret
	userinfo        *url.Userinfo
	open, encrypted bool // reached from elsewhere than this machine; over TLS
}

func (n *cluster) flags(c *cobra.Command) {
	f := c.Flags()
	f.StringVar(&n.servers, "nats", os.Getenv(natsVariable),
		"NATS cluster that keeps the records, such as tls://n1:4222,tls://n2:4222 (or "+natsVariable+"); user and password in it or in "+
			natsUserVariable+" and "+natsPasswordVariable)
	f.Lookup("nats").DefValue = "" // it may hold a password
	f.StringVar(&n.creds, "nats-creds", "", "file with the credentials for the cluster")
	f.StringVar(&n.ca, "nats-ca", "", "file with the certificate authority of the cluster (PEM)")
	f.StringVar(&n.cert, "nats-cert", "", "file with this program's certificate for the cluster (PEM)")
	f.StringVar(&n.key, "nats-key", "", "file with that certificate's private key (PEM)")
	f.BoolVar(&n.fill, "nats-fill", false, "put the folder's records into the cluster, where it has none")
}

// read takes the servers apart. What it says never holds what is secret.
func (n *cluster) read() error {
	if (n.cert == "") != (n.key == "") {
		return errors.New("--nats-cert and --nats-key belong together: the certificate and its private key")
	}
	for one := range strings.SplitSeq(n.servers, ",") {
		if !strings.Contains(one, "://") {
			one = "nats://" + one
		}
		u, err := url.Parse(strings.TrimSpace(one))
		if err != nil || u.Host == "" {
			return errors.New("--nats names the servers of a NATS cluster, such as nats://n1:4222,nats://n2:4222; what is given can't be " +
				"read as such (in a password write % and what stands for the character)")
		}
		if u.User != nil {
			n.userinfo = u.User
		}
		n.open = n.open || !thisMachine(u.Host)
		n.encrypted = u.Scheme == "tls" || u.Scheme == "wss" || n.ca != "" || n.cert != ""
		n.where = append(n.where, (&url.URL{Scheme: u.Scheme, Host: u.Host}).String())
	}
	for _, file := range []string{n.creds, n.ca, n.cert, n.key} {
		if file == "" {
			continue
		}
		if _, err := os.Stat(file); err != nil {
			return fmt.Errorf("cannot read what the cluster is to be shown: %w", err)
		}
	}
	return nil
}

// options are those of a connection.
func (n *cluster) options() []nats.Option {
	var opts []nats.Option
	user, password := os.Getenv(natsUserVariable), os.Getenv(natsPasswordVariable)
	if n.userinfo != nil {
		user = n.userinfo.Username()
		given := false
		if password, given = n.userinfo.Password(); !given {
			opts, user = append(opts, nats.Token(user)), ""
		}
	}
	if user != "" {
		opts = append(opts, nats.UserInfo(user, password))
	}
	if n.creds != "" {
		opts = append(opts, nats.UserCredentials(n.creds))
	}
	if n.ca != "" {
		opts = append(opts, nats.RootCAs(n.ca))
	}
	if n.cert != "" {
		opts = append(opts, nats.ClientCert(n.cert, n.key))
	}
	return opts
}

// ledger returns the cluster as the ledger wants it, nil where there is none, and a context that ends when another program
// takes over.
func (n *cluster) ledger(ctx context.Context, a *app) (context.Context, *ledger.Cluster, error) {
	if n.servers == "" {
		if n.creds != "" || n.ca != "" || n.cert != "" || n.fill {
			return ctx, nil, errors.New("--nats says where the cluster is, for example --nats nats://n1:4222,nats://n2:4222,nats://n3:4222")
		}
		return ctx, nil, nil
	}
	if err := n.read(); err != nil {
		return ctx, nil, err
	}
	if n.open && !n.encrypted {
		fmt.Fprintln(a.env.Err, "listbound: warning: the NATS cluster is asked without TLS unless it insists on it; what is sent there could be "+
			"read and changed on the way. Give tls:// and, where it has an authority of its own, --nats-ca")
	}
	ctx, cancel := context.WithCancelCause(ctx)
	return ctx, &ledger.Cluster{
		Connect: func(opts ...nats.Option) (*nats.Conn, error) {
			return nats.Connect(strings.Join(n.where, ","), append(n.options(), opts...)...)
		},
		Where: strings.Join(n.where, ", "),
		Fill:  n.fill,
		Tell:  func(text string) { fmt.Fprintf(a.env.Out, "%s\n", text) },
		Fenced: func(err error) {
			cancel(&exitError{code: ExitProblem, err: err})
		},
	}, nil
}

// takenOver returns why a server has ended, where another program took over from it.
func takenOver(ctx context.Context) error {
	var e *exitError
	if errors.As(context.Cause(ctx), &e) {
		return e
	}
	return nil
}
