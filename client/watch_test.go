package client_test

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "example.org/remelt/api/remelt/v1"
)

// A watch over a connection that breaks after every second message hands each
// entry over once, in order.
func TestWatchGoesOnWhereItWas(t *testing.T) {
	w := newWorld(t)
	const last = 9
	breaks := 0
	w.places.watch = func(req *pb.WatchEntriesRequest, s grpc.ServerStreamingServer[pb.WatchEntriesResponse]) error {
		for i := range int64(2) {
			m := &pb.WatchEntriesResponse{LastSequence: last}
			if seq := req.GetAfterSequence() + 1 + i; seq <= last {
				m.Entry = &pb.Entry{Sequence: seq}
			}
			if err := s.Send(m); err != nil {
				return err
			}
		}
		breaks++
		switch breaks % 3 {
		case 0:
			w.cut()
		case 1:
			return nil // the server goes away in an orderly way
		}
		return status.Error(codes.Unavailable, "gone")
	}
	var got []int64
	done := errors.New("done")
	err := w.Watch(t.Context(), &pb.WatchEntriesRequest{Parent: "shops/harrow", AfterSequence: 3}, func(m *pb.WatchEntriesResponse) error {
		if m.GetEntry() == nil {
			return done
		}
		got = append(got, m.GetEntry().GetSequence())
		return nil
	})
	if !errors.Is(err, done) {
		t.Fatal(err)
	}
	if want := []int64{4, 5, 6, 7, 8, 9}; !slices.Equal(got, want) || breaks < 3 {
		t.Errorf("got entries %v over %d breaks, want %v over 3", got, breaks, want)
	}
}

func TestWatchNoticesAGap(t *testing.T) {
	w := newWorld(t)
	w.places.watch = func(_ *pb.WatchEntriesRequest, s grpc.ServerStreamingServer[pb.WatchEntriesResponse]) error {
		_ = s.Send(&pb.WatchEntriesResponse{Entry: &pb.Entry{Sequence: 1}})
		return s.Send(&pb.WatchEntriesResponse{Entry: &pb.Entry{Sequence: 3}})
	}
	err := w.Watch(t.Context(), &pb.WatchEntriesRequest{}, func(*pb.WatchEntriesResponse) error { return nil })
	if err == nil || !strings.Contains(err.Error(), "gap") {
		t.Errorf("error %v, want one about the gap", err)
	}
}

func TestWatchEndsWhenRefused(t *testing.T) {
	w := newWorld(t)
	calls := 0
	w.places.watch = func(*pb.WatchEntriesRequest, grpc.ServerStreamingServer[pb.WatchEntriesResponse]) error {
		calls++
		return status.Error(codes.NotFound, "no book of this shop")
	}
	err := w.Watch(t.Context(), &pb.WatchEntriesRequest{}, func(*pb.WatchEntriesResponse) error { return nil })
	if status.Code(err) != codes.NotFound || calls != 1 {
		t.Errorf("error %v after %d calls, want the refusal after one", err, calls)
	}
	calls = 0
	w.places.watch = func(*pb.WatchEntriesRequest, grpc.ServerStreamingServer[pb.WatchEntriesResponse]) error {
		calls++
		return status.Error(codes.Unavailable, "gone")
	}
	err = w.Watch(t.Context(), &pb.WatchEntriesRequest{}, func(*pb.WatchEntriesResponse) error { return nil })
	if status.Code(err) != codes.Unavailable || calls != 5 {
		t.Errorf("error %v after %d calls, want to give up after five", err, calls)
	}
}

// A copy is a backup only when its checksum and length agree and its result came.
func TestBackupIsChecked(t *testing.T) {
	parts := []string{"metal ", "book"}
	sum := sha256.Sum256([]byte(strings.Join(parts, "")))
	whole := &pb.BackupResult{SizeBytes: 10, Sha256: hex.EncodeToString(sum[:])}
	for name, c := range map[string]struct {
		parts  []string
		result *pb.BackupResult
		ok     bool
	}{
		"whole":          {parts, whole, true},
		"a part missing": {parts[:1], whole, false},
		"a changed part": {[]string{"metal ", "bOok"}, whole, false},
		"no result":      {parts, nil, false},
	} {
		t.Run(name, func(t *testing.T) {
			w := newWorld(t)
			w.places.backup = func(s grpc.ServerStreamingServer[pb.BackupShopResponse]) error {
				_ = s.Send(&pb.BackupShopResponse{Event: &pb.BackupShopResponse_Progress{Progress: &pb.Progress{Done: 1}}})
				for _, p := range c.parts {
					_ = s.Send(&pb.BackupShopResponse{Event: &pb.BackupShopResponse_Chunk{Chunk: []byte(p)}})
				}
				if c.result == nil {
					return nil
				}
				return s.Send(&pb.BackupShopResponse{Event: &pb.BackupShopResponse_Result{Result: c.result}})
			}
			var out strings.Builder
			heard := 0
			r, err := w.Backup(t.Context(), "shops/harrow", &out, func(*pb.Progress) { heard++ })
			if (err == nil) != c.ok {
				t.Fatalf("error %v", err)
			}
			if c.ok && (out.String() != "metal book" || r.GetSizeBytes() != 10 || heard != 1) {
				t.Errorf("got %q, result %v, %d progress", out.String(), r, heard)
			}
		})
	}
}

// A copy that cannot be written further, and a result that came before the stream's end,
// leave nothing running on the server.
func TestStreamsEndWithTheirCall(t *testing.T) {
	w := newWorld(t)
	ended := make(chan struct{})
	w.places.backup = func(s grpc.ServerStreamingServer[pb.BackupShopResponse]) error {
		_ = s.Send(&pb.BackupShopResponse{Event: &pb.BackupShopResponse_Chunk{Chunk: []byte("metal")}})
		<-s.Context().Done()
		close(ended)
		return s.Context().Err()
	}
	full := errors.New("the disk is full")
	if _, err := w.Backup(context.Background(), "shops/harrow", writerThat{full}, nil); !errors.Is(err, full) {
		t.Errorf("a copy onto a full disk: %v", err)
	}
	select {
	case <-ended:
	case <-time.After(10 * time.Second):
		t.Error("the server still sends a copy that nobody takes")
	}
}

// writerThat fails.
type writerThat struct{ err error }

func (w writerThat) Write([]byte) (int, error) { return 0, w.err }
