//go:build unix

package breaking

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"math/rand/v2"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"example.org/remelt/ledger/postgres/postgrestest"
)

var seed = flag.Uint64("seed", 0, "seed of the random choices; 0 takes one from the clock")

// chance gives a test its random choices and prints their seed.
func chance(t *testing.T) *rand.Rand {
	t.Helper()
	s := *seed
	if s == 0 {
		s = uint64(time.Now().UnixNano())
	}
	t.Logf("-seed %d", s)
	return rand.New(rand.NewPCG(s, 0))
}

// between is a random time.
func between(r *rand.Rand, from, to time.Duration) time.Duration {
	return from + time.Duration(r.Int64N(int64(to-from)))
}

// binary is the program, built without the race detector: it is another process,
// of which that sees nothing.
var binary string

func TestMain(m *testing.M) {
	flag.Parse()
	os.Exit(func() int {
		dir, err := os.MkdirTemp("", "remelt-breaking-")
		if err != nil {
			fmt.Fprintln(os.Stderr, err)
			return 1
		}
		defer os.RemoveAll(dir)
		binary = filepath.Join(dir, "remelt")
		if out, err := exec.Command("go", "build", "-o", binary, "example.org/remelt/cmd/remelt").CombinedOutput(); err != nil {
			fmt.Fprintf(os.Stderr, "the program does not build: %v\n%s", err, out)
			return 1
		}
		return postgrestest.Main(m)
	}())
}

// skip leaves a test out where it cannot run; where everything is to run that is
// a failure.
func skip(t *testing.T, why string) {
	t.Helper()
	if os.Getenv("REMELT_CI") != "" {
		t.Fatal(why)
	}
	t.Skip(why)
}

// address is where a server is now: another after each start, so that nobody can
// take its port meanwhile.
type address struct{ now atomic.Pointer[string] }

var errNobody = errors.New("no server is running")

// dial connects a client to the server that is running.
func (a *address) dial(ctx context.Context, _ string) (net.Conn, error) {
	to := a.now.Load()
	if to == nil {
		return nil, errNobody
	}
	return (&net.Dialer{}).DialContext(ctx, "tcp", *to)
}

// program is a running server.
type program struct {
	cmd   *exec.Cmd
	ready chan struct{} // closed when it says where it listens, or has ended
	ended chan struct{}
	grpc  string // its addresses, once it is ready; empty if it ended before
	http  string

	mu   sync.Mutex
	says bytes.Buffer
}

var listens = regexp.MustCompile(`^ +(page and REST  http://|gRPC +)(\S+:\d+)$`)

// start starts a server on a book. at, if there is one, is told its address.
func start(t *testing.T, at *address, db string, more ...string) *program {
	t.Helper()
	p := &program{ready: make(chan struct{}), ended: make(chan struct{})}
	p.cmd = exec.Command(binary, append([]string{"serve", "--db", db, "--http", "127.0.0.1:0", "--grpc", "127.0.0.1:0"}, more...)...)
	p.cmd.Env = append(os.Environ(), "REMELT_SHOP=", "TMPDIR="+filepath.Dir(binary))
	out, err := p.cmd.StdoutPipe()
	if err == nil {
		p.cmd.Stderr = p
		err = p.cmd.Start()
	}
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(p.kill)
	go func() {
		p.read(out, at)
		_ = p.cmd.Wait() // how it ended is in its state
		if at != nil {
			at.now.CompareAndSwap(&p.grpc, nil)
		}
		close(p.ended)
	}()
	return p
}

// read reads what the server prints, to the end.
func (p *program) read(out io.Reader, at *address) {
	told := sync.OnceFunc(func() { close(p.ready) })
	defer told()
	for lines := bufio.NewScanner(out); lines.Scan(); {
		fmt.Fprintln(p, lines.Text())
		m := listens.FindStringSubmatch(lines.Text())
		switch {
		case m == nil:
		case p.http == "":
			p.http = m[2]
		case p.grpc == "":
			p.grpc = m[2]
			if at != nil {
				at.now.Store(&p.grpc)
			}
			told()
		}
	}
}

// Write implements io.Writer.
func (p *program) Write(b []byte) (int, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.says.Write(b)
}

// said is all that the server has printed and logged.
func (p *program) said() string {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.says.String()
}

// await waits until the server serves.
func (p *program) await(t *testing.T) {
	t.Helper()
	select {
	case <-p.ready:
	case <-time.After(time.Minute):
	}
	if p.grpc == "" {
		t.Fatalf("the server does not start:\n%s", p.said())
	}
}

// endsWithin waits so long for the server to end by itself, and tells whether it has.
func (p *program) endsWithin(d time.Duration) bool {
	select {
	case <-p.ended:
		return true
	case <-time.After(d):
		return false
	}
}

// signal sends a signal; one that has ended gets none.
func (p *program) signal(s syscall.Signal) { _ = p.cmd.Process.Signal(s) }

// kill is kill -9, and waits until the process is gone.
func (p *program) kill() {
	p.signal(syscall.SIGKILL)
	<-p.ended
}

// stop asks the server to stop, as a service manager would, and waits for it.
func (p *program) stop(t *testing.T) {
	t.Helper()
	p.signal(syscall.SIGTERM)
	if code := p.exit(t); code != 0 {
		t.Errorf("the server ended with status %d:\n%s", code, p.said())
	}
}

// exit waits for the end of the server and returns its status.
func (p *program) exit(t *testing.T) int {
	t.Helper()
	select {
	case <-p.ended:
	case <-time.After(time.Minute):
		t.Fatalf("the server does not end:\n%s", p.said())
	}
	return p.cmd.ProcessState.ExitCode()
}
