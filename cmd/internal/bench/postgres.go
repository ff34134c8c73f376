package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"time"

	"github.com/jackc/pgx/v5"
)

// postgres is a server of PostgreSQL with a folder of its own, which nobody else reaches.
type postgres struct {
	cmd     *exec.Cmd
	log     *os.File
	dsn     string
	version string
}

// startPostgres starts one, or says why it can't be had here.
func startPostgres(ctx context.Context, dir string) (*postgres, string) {
	p, err := tryPostgres(ctx, dir)
	switch {
	case errors.Is(err, exec.ErrNotFound):
		return nil, "no PostgreSQL here"
	case err != nil:
		return nil, fmt.Sprintf("PostgreSQL did not start here: %v", err)
	}
	return p, ""
}

func tryPostgres(ctx context.Context, dir string) (*postgres, error) {
	initdb, err := postgresProgram("initdb")
	if err != nil {
		return nil, err
	}
	server, err := postgresProgram("postgres")
	if err != nil {
		return nil, err
	}
	home := filepath.Join(dir, "pg")
	as, err := unprivileged(dir, home)
	if err != nil {
		return nil, err
	}
	data := filepath.Join(home, "data")
	made := exec.CommandContext(ctx, initdb, "-D", data, "-U", "bench", "-A", "trust", "-E", "UTF8", "--locale=C")
	made.SysProcAttr, made.Dir = as, home
	if out, err := made.CombinedOutput(); err != nil {
		return nil, fmt.Errorf("%w: %s", err, out)
	}
	// Its own settings, which sync each commit; only memory is more than the few MB that it takes if nobody says anything.
	p := &postgres{dsn: fmt.Sprintf("host=%s user=bench dbname=postgres", home), cmd: command(ctx, server, "-D", data, "-k", home,
		"-c", "listen_addresses=", "-c", "shared_buffers=256MB", "-c", "max_wal_size=4GB")}
	if p.log, err = os.Create(filepath.Join(dir, "pg.log")); err != nil {
		return nil, err
	}
	p.cmd.SysProcAttr, p.cmd.Dir, p.cmd.Stderr = as, home, p.log
	p.cmd.Cancel = func() error { return p.cmd.Process.Signal(syscall.SIGINT) }
	if err := p.cmd.Start(); err != nil {
		return nil, err
	}
	if err := p.answers(ctx); err != nil {
		said, _ := os.ReadFile(p.log.Name()) // as much of it as there is
		return nil, errors.Join(fmt.Errorf("%w: %s", err, said), p.stop())
	}
	return p, nil
}

// answers waits until the server does.
func (p *postgres) answers(ctx context.Context) error {
	const longest = 30 * time.Second
	ctx, cancel := context.WithTimeout(ctx, longest)
	defer cancel()
	for {
		c, err := pgx.Connect(ctx, p.dsn)
		if err == nil {
			p.version = "PostgreSQL " + strings.Fields(c.PgConn().ParameterStatus("server_version"))[0]
			return c.Close(ctx)
		}
		select {
		case <-ctx.Done():
			return err
		case <-time.After(50 * time.Millisecond):
		}
	}
}

// anew makes a database with the rival's tables, and returns where it is.
func (p *postgres) anew(ctx context.Context, name string) (dsn string, err error) {
	c, err := pgx.Connect(ctx, p.dsn)
	if err != nil {
		return "", err
	}
	_, err = c.Exec(ctx, "CREATE DATABASE "+pgx.Identifier{name}.Sanitize())
	if err = errors.Join(err, c.Close(ctx)); err != nil {
		return "", err
	}
	dsn = p.at(name)
	if c, err = pgx.Connect(ctx, dsn); err != nil {
		return "", err
	}
	_, err = c.Exec(ctx, rivalTables)
	return dsn, errors.Join(err, c.Close(ctx))
}

// at is where a database is.
func (p *postgres) at(name string) string {
	return strings.Replace(p.dsn, "dbname=postgres", "dbname="+name, 1)
}

// stop ends the server, those who ask it as well.
func (p *postgres) stop() error {
	if p == nil {
		return nil
	}
	return errors.Join((&child{cmd: p.cmd}).end(syscall.SIGINT), p.log.Close())
}

// postgresProgram finds a program, also where Debian has those of each version.
func postgresProgram(name string) (string, error) {
	found, err := filepath.Glob("/usr/lib/postgresql/*/bin/" + name)
	if err != nil {
		return "", err
	}
	if len(found) == 0 {
		return exec.LookPath(name)
	}
	version := func(path string) int {
		n, _ := strconv.Atoi(filepath.Base(filepath.Dir(filepath.Dir(path)))) // 0 is the oldest
		return n
	}
	return slices.MaxFunc(found, func(a, b string) int { return cmp.Compare(version(a), version(b)) }), nil
}

// unprivileged makes the server's folder and says as whom it runs there: PostgreSQL refuses to be root.
func unprivileged(dir, home string) (*syscall.SysProcAttr, error) {
	if err := os.Mkdir(home, 0o700); err != nil {
		return nil, err
	}
	if os.Getuid() != 0 {
		return &syscall.SysProcAttr{}, nil
	}
	u, err := user.Lookup("postgres")
	if err != nil {
		if u, err = user.Lookup("nobody"); err != nil {
			return nil, err
		}
	}
	uid, err := strconv.Atoi(u.Uid)
	if err != nil {
		return nil, err
	}
	gid, err := strconv.Atoi(u.Gid)
	if err != nil {
		return nil, err
	}
	const passable = 0o711
	if err := errors.Join(os.Chmod(dir, passable), os.Chown(home, uid, gid)); err != nil {
		return nil, err
	}
	return &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: uint32(uid), Gid: uint32(gid)}}, nil
}
