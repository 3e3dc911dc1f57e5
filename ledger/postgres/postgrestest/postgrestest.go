// Package postgrestest gives tests a PostgreSQL of their own: a throwaway cluster
// in a temporary folder, reached through a socket there, one for all tests of a
// package. Its texts sort by a language's rules, as they do for most people, and
// it syncs what it commits.
//
//	func TestMain(m *testing.M) { os.Exit(postgrestest.Main(m)) }
//
// Without PostgreSQL (Debian's postgresql) the tests that ask for it are skipped;
// under REMELT_CI=1 they fail.
package postgrestest

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"

	"github.com/jackc/pgx/v5"
)

var (
	started = sync.OnceValues(func() (*Cluster, error) { return Start() })
	running atomic.Pointer[Cluster]
	number  atomic.Int64
)

// Main runs a package's tests and then stops the cluster, if one was started.
func Main(m *testing.M) int {
	code := m.Run()
	if c := running.Load(); c != nil {
		c.Remove()
	}
	return code
}

// Database returns the URL of a place of its own for a test: a new and empty
// schema, of a role that owns it and is no superuser. (A database would take much
// longer to make.)
func Database(t testing.TB) string {
	t.Helper()
	Need(t)
	c, err := started()
	if err != nil {
		t.Fatal(err)
	}
	running.Store(c)
	url, err := c.Schema(context.Background(), fmt.Sprintf("test_%d", number.Add(1)))
	if err != nil {
		t.Fatal(err)
	}
	return url
}

// Emptied returns the URL of a schema that may have tables from a test before,
// but no rows in them except in those to be kept. That is quicker than a new one.
func Emptied(t testing.TB, keep ...string) string {
	t.Helper()
	var url string
	select {
	case url = <-used:
	default:
		url = Database(t)
	}
	t.Cleanup(func() {
		c, err := started()
		if err == nil {
			err = c.empty(context.Background(), url, keep)
		}
		if err != nil {
			t.Error(err)
			return
		}
		select {
		case used <- url:
		default:
		}
	})
	return url
}

var used = make(chan string, 100)

// Need skips the test where there is no PostgreSQL.
func Need(t testing.TB) {
	t.Helper()
	if _, err := program("postgres"); err != nil {
		if os.Getenv("REMELT_CI") != "" {
			t.Fatal(err)
		}
		t.Skip(err)
	}
}

// program finds one of PostgreSQL's programs. Debian keeps them out of the path.
func program(name string) (string, error) {
	if path, err := exec.LookPath(name); err == nil {
		return path, nil
	}
	paths, _ := filepath.Glob("/usr/lib/postgresql/*/bin/" + name)
	if len(paths) == 0 {
		return "", fmt.Errorf("%s is not installed (Debian's postgresql has it)", name)
	}
	return slices.Max(paths), nil
}

// Schema makes an empty schema and returns the URL under which it is found.
func (c *Cluster) Schema(ctx context.Context, name string) (string, error) {
	conn, err := pgx.Connect(ctx, c.URL("postgres"))
	if err != nil {
		return "", err
	}
	defer conn.Close(ctx)
	if _, err := conn.Exec(ctx, `CREATE SCHEMA `+pgx.Identifier{name}.Sanitize()+` AUTHORIZATION keeper`); err != nil {
		return "", err
	}
	return c.URL("keeper") + "&search_path=" + name, nil
}

// empty deletes all rows as the superuser: the role that keeps books may not.
func (c *Cluster) empty(ctx context.Context, url string, keep []string) error {
	config, err := pgx.ParseConfig(url)
	if err != nil {
		return err
	}
	config.User = "postgres"
	conn, err := pgx.ConnectConfig(ctx, config)
	if err != nil {
		return err
	}
	defer conn.Close(ctx)
	rows, err := conn.Query(ctx, `SELECT 'DELETE FROM ' || quote_ident(tablename) FROM pg_tables
		WHERE schemaname = current_schema() AND NOT tablename = ANY ($1)`, keep)
	if err != nil {
		return err
	}
	statements, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err == nil {
		_, err = conn.PgConn().Exec(ctx, strings.Join(statements, ";")).ReadAll()
	}
	return err
}

// Crash kills the server of the package's cluster with all its processes, as a
// machine that stops would, and starts it again.
func Crash(t testing.TB) {
	t.Helper()
	c, err := started()
	if err == nil {
		err = c.kill()
	}
	if err == nil {
		err = c.Up()
	}
	if err != nil {
		t.Error(err)
	}
}
