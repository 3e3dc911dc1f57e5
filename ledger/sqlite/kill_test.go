//go:build unix

package sqlite

import (
	"bufio"
	"context"
	"encoding/hex"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/storetest"
)

const killEnv = "REMELT_TEST_KILL"

// TestKill kills a writing process at a random moment, again and again on one
// file. After each: nothing that was acknowledged is missing, nothing is there
// by half, and the book verifies (promise 6, as far as a process can die; power
// loss is another matter).
func TestKill(t *testing.T) {
	if path := os.Getenv(killEnv); path != "" {
		writeUntilKilled(path)
		return
	}
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	random := rand.New(rand.NewPCG(seed, 0))
	path := newPath(t)
	acknowledged := map[ledger.RequestID]int64{}
	for round := range 20 {
		for id, seq := range runAndKill(t, path, time.Duration(random.IntN(120))*time.Millisecond) {
			acknowledged[id] = seq
		}
		s := open(t, path)
		storetest.VerifyAll(t, s)
		if err := s.View(context.Background(), "harrow", func(r ledger.Reader) error {
			head, err := r.Head()
			if err != nil {
				return err
			}
			if head.Seq%2 != 0 {
				t.Errorf("round %d: %d entries: half a pair", round, head.Seq)
			}
			for id, seq := range acknowledged {
				got, found, err := r.ByRequest(id)
				if err != nil {
					return err
				}
				if !found || got.Seq != seq {
					t.Errorf("round %d: entry %d was acknowledged, found %v at %d", round, seq, found, got.Seq)
				}
			}
			return nil
		}); err != nil {
			t.Fatal(err)
		}
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
		if t.Failed() {
			t.FailNow()
		}
	}
	t.Logf("%d updates were acknowledged, all are there", len(acknowledged))
	if len(acknowledged) < 20 {
		t.Error("hardly anything was written: the test has not tested")
	}
}

// runAndKill lets a process write until it is killed some time after its first
// acknowledgement, and returns what it had acknowledged.
func runAndKill(t *testing.T, path string, after time.Duration) map[ledger.RequestID]int64 {
	t.Helper()
	cmd := exec.Command(os.Args[0], "-test.run=^TestKill$")
	cmd.Env = append(os.Environ(), killEnv+"="+path)
	cmd.Stderr = os.Stderr
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	acknowledged := map[ledger.RequestID]int64{}
	lines := bufio.NewScanner(out)
	for lines.Scan() {
		var seq int64
		var id string
		if n, _ := fmt.Sscanf(lines.Text(), "acknowledged %d %s", &seq, &id); n != 2 || len(id) != 32 {
			if !strings.HasPrefix("acknowledged", lines.Text()[:min(12, len(lines.Text()))]) { // not the last line, cut by the kill
				t.Errorf("the process says %q", lines.Text())
			}
			continue
		}
		var request ledger.RequestID
		if _, err := hex.Decode(request[:], []byte(id)); err != nil {
			t.Errorf("the process says %q", lines.Text())
		}
		acknowledged[request] = seq
		if len(acknowledged) == 1 {
			time.AfterFunc(after, func() { noError(t, cmd.Process.Kill()) })
		}
	}
	if err := cmd.Wait(); err == nil {
		t.Error("the process was not killed")
	}
	if ws, ok := cmd.ProcessState.Sys().(syscall.WaitStatus); !ok || ws.Signal() != syscall.SIGKILL {
		t.Errorf("the process ended by itself: %v", cmd.ProcessState)
	}
	return acknowledged
}

// writeUntilKilled appends pairs of entries from several sides and prints a
// line for each pair once it is acknowledged.
func writeUntilKilled(path string) {
	s, err := Open(context.Background(), path, Options{})
	if err != nil {
		fmt.Println(err)
		os.Exit(1)
	}
	var wg sync.WaitGroup
	for range 6 {
		wg.Add(1)
		go func() {
			defer wg.Done()
			for {
				id := storetest.NewRequest()
				var seq int64
				if err := s.Update(context.Background(), "harrow", func(tx ledger.Tx) error {
					name := fmt.Sprintf("%x", id[:6])
					first := storetest.Move("supplier/S1", ledger.Acct("lot", name), 2, storetest.Rec("lot", name, "", `{}`))
					first.Request = id
					sealed, err := storetest.Append(tx, "harrow", first)
					if err != nil {
						return err
					}
					seq = sealed.Seq
					_, err = storetest.Append(tx, "harrow", storetest.Move(ledger.Acct("lot", name), "heat/1", 1))
					return err
				}); err != nil {
					fmt.Println(err)
					os.Exit(1)
				}
				os.Stdout.WriteString(fmt.Sprintf("acknowledged %d %x\n", seq, id[:])) // one write: a whole line or none
			}
		}()
	}
	wg.Wait()
}
