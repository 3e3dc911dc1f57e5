package client

import (
	"context"
	"errors"
	"fmt"
	"io"

	"google.golang.org/protobuf/proto"

	pb "example.org/remelt/api/remelt/v1"
)

// Watch hands over each message of a watch, entries in order, each once, until
// ctx is done, heard returns an error, or the server refuses. A broken
// connection is made again and the watch goes on from the last entry handed
// over; it gives up only when the very first connection fails as often as a call
// may. The error is never nil.
func (c *Client) Watch(ctx context.Context, req *pb.WatchEntriesRequest, heard func(*pb.WatchEntriesResponse) error) error {
	req = proto.CloneOf(req)
	begun := false
	for failed := 0; ; {
		got, err := c.watchOnce(ctx, req, heard)
		var stop stopError
		switch {
		case errors.As(err, &stop):
			return stop.error
		case ctx.Err() != nil:
			return ctx.Err()
		case !worthAnother(err) && !errors.Is(err, io.EOF):
			return err
		}
		if got {
			begun, failed = true, 0
		}
		if failed++; !begun && failed >= c.again.tries {
			return err
		}
		if err := c.again.pause(ctx, err, failed); err != nil {
			return err
		}
	}
}

// stopError is an error of the caller's own.
type stopError struct{ error }

// watchOnce reads one stream to its end and moves req on. got says that it got
// anything at all.
func (c *Client) watchOnce(ctx context.Context, req *pb.WatchEntriesRequest, heard func(*pb.WatchEntriesResponse) error) (got bool, err error) {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	s, err := c.Entries.WatchEntries(ctx, req)
	if err != nil {
		return false, err
	}
	for {
		m, err := s.Recv()
		if err != nil {
			return got, err
		}
		got = true
		if e := m.GetEntry(); e != nil {
			if want := req.GetAfterSequence() + 1; e.GetSequence() != want {
				return got, stopError{fmt.Errorf("the server sent entry %d where %d was next; the watch has a gap", e.GetSequence(), want)}
			}
		}
		if err := heard(m); err != nil {
			return got, stopError{err}
		}
		if e := m.GetEntry(); e != nil {
			req.AfterSequence = e.GetSequence()
		}
	}
}
