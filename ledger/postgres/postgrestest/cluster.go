package postgrestest

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
)

// Cluster is a PostgreSQL server and its files.
type Cluster struct {
	dir  string // holds data and the socket
	cmd  *exec.Cmd
	hold io.Closer // the server stops when this process lets go
	log  *bytes.Buffer
}

// Start makes a new cluster and starts it. settings are lines of its
// configuration, such as "wal_level=replica".
func Start(settings ...string) (*Cluster, error) {
	dir, err := os.MkdirTemp("", "pg-")
	if err != nil {
		return nil, err
	}
	c := &Cluster{dir: dir}
	if err := giveAway(dir); err != nil {
		return nil, errors.Join(err, os.RemoveAll(dir))
	}
	if err := c.run("initdb", "-D", c.data(), "-U", "postgres", "-A", "trust", "-E", "UTF8", "--no-sync",
		"--locale=C", "--locale-provider=icu", "--icu-locale=en-US"); err != nil {
		return nil, errors.Join(err, os.RemoveAll(dir))
	}
	if err := c.configure(settings...); err != nil {
		return nil, errors.Join(err, os.RemoveAll(dir))
	}
	if err := c.Up(); err != nil {
		return nil, errors.Join(err, os.RemoveAll(dir))
	}
	conn, err := pgx.Connect(context.Background(), c.URL("postgres"))
	if err == nil {
		_, err = conn.Exec(context.Background(), `CREATE ROLE keeper LOGIN`)
		err = errors.Join(err, conn.Close(context.Background()))
	}
	if err != nil {
		c.Remove()
		return nil, err
	}
	return c, nil
}

func (c *Cluster) data() string { return filepath.Join(c.dir, "data") }

// configure adds settings.
func (c *Cluster) configure(settings ...string) error {
	all := append([]string{
		"listen_addresses=''", "unix_socket_directories='" + c.dir + "'",
		"shared_buffers=64MB", "max_connections=80", "max_wal_size=256MB", "log_min_messages=warning",
	}, settings...)
	f, err := os.OpenFile(filepath.Join(c.data(), "postgresql.auto.conf"), os.O_APPEND|os.O_WRONLY, 0)
	if err != nil {
		return err
	}
	_, err = f.WriteString(strings.Join(all, "\n") + "\n")
	return errors.Join(err, f.Close())
}

// URL reaches the cluster as a user: postgres is its superuser, keeper keeps books.
func (c *Cluster) URL(user string) string {
	u := url.URL{Scheme: "postgres", User: url.User(user), Path: "/postgres", RawQuery: url.Values{"host": {c.dir}}.Encode()}
	return u.String()
}

// run runs one of PostgreSQL's programs to its end.
func (c *Cluster) run(name string, args ...string) error {
	path, err := program(name)
	if err != nil {
		return err
	}
	cmd := exec.Command(path, args...) //nolint:gosec // of a test
	cmd.Dir = c.dir
	lowerRights(cmd)
	if out, err := cmd.CombinedOutput(); err != nil {
		return fmt.Errorf("%s: %w\n%s", name, err, out)
	}
	return nil
}

// beside runs a server until file 3 ends.
const beside = `"$0" -D "$1" & server=$!
(cat > /dev/null; kill -INT $server 2> /dev/null) <&3 &
wait $server`

// Up starts the server and waits until it answers. It stops with this process,
// however that ends: a shell waits beside it for the end of its input.
func (c *Cluster) Up() error {
	path, err := program("postgres")
	if err != nil {
		return err
	}
	c.log = &bytes.Buffer{}
	c.cmd = exec.Command("sh", "-c", beside, path, c.data()) //nolint:gosec // of a test
	c.cmd.Dir, c.cmd.Stdout, c.cmd.Stderr = c.dir, c.log, c.log
	r, w, err := os.Pipe()
	if err != nil {
		return err
	}
	c.hold, c.cmd.ExtraFiles = w, []*os.File{r}
	lowerRights(c.cmd)
	err = c.cmd.Start()
	if err := errors.Join(err, r.Close()); err != nil {
		return err
	}
	return c.await()
}

func (c *Cluster) await() error {
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	for {
		conn, err := pgx.Connect(ctx, c.URL("postgres"))
		if err == nil {
			return conn.Close(ctx)
		}
		select {
		case <-ctx.Done():
			c.Down()
			return fmt.Errorf("PostgreSQL does not answer: %w\n%s", err, c.log)
		case <-time.After(20 * time.Millisecond):
		}
	}
}

// Down stops the server in an orderly way, at once.
func (c *Cluster) Down() {
	if c.hold != nil {
		_ = c.hold.Close()
		_ = c.cmd.Wait() // its state says nothing that matters
		c.hold = nil
	}
}

// Remove stops the server and removes its files.
func (c *Cluster) Remove() {
	c.Down()
	_ = os.RemoveAll(c.dir) // a temporary folder
}
