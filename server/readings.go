package server

import (
	"context"
	"sync"
	"time"

	"google.golang.org/grpc"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/server/signin"
)

// readings carries what scales show from who reads them to who watches. It is of
// this moment and this server: nothing of it is kept, and who watches too slowly
// misses what stood there meanwhile.
type readings struct {
	mu       sync.Mutex
	watchers map[string]map[chan *pb.WatchReadingsResponse]bool // by the scale's name
}

func newReadings() *readings {
	return &readings{watchers: map[string]map[chan *pb.WatchReadingsResponse]bool{}}
}

// maxReaders bounds those who watch one scale, and readingBeat is the silence after
// which they hear that the line still holds.
const (
	maxReaders  = 64
	readingBeat = 15 * time.Second
)

// show gives a reading to those who watch and says how many there are.
func (r *readings) show(scale string, m *pb.WatchReadingsResponse) int {
	r.mu.Lock()
	defer r.mu.Unlock()
	for c := range r.watchers[scale] {
		select {
		case <-c: // what nobody took yet stands there no more
		default:
		}
		c <- m
	}
	return len(r.watchers[scale])
}

// join gives the channel of one more watcher, and what ends it; nil when there are
// too many.
func (r *readings) join(scale string) (<-chan *pb.WatchReadingsResponse, func()) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if len(r.watchers[scale]) >= maxReaders {
		return nil, nil
	}
	if r.watchers[scale] == nil {
		r.watchers[scale] = map[chan *pb.WatchReadingsResponse]bool{}
	}
	c := make(chan *pb.WatchReadingsResponse, 1)
	r.watchers[scale][c] = true
	return c, func() {
		r.mu.Lock()
		defer r.mu.Unlock()
		if delete(r.watchers[scale], c); len(r.watchers[scale]) == 0 {
			delete(r.watchers, scale)
		}
	}
}

func (s scales) ShowReading(ctx context.Context, r *pb.ShowReadingRequest) (*pb.ShowReadingResponse, error) {
	d, scale := scaleSetting.get(ctx, s.counter, r.GetName())
	if d.err != nil {
		return nil, d.err
	}
	w := d.mass(d.signed("weight", r.GetWeight()))
	w.Typed = r.GetWeight().GetText()
	if d.err != nil {
		return nil, d.err
	}
	device := r.GetDevice()
	if c, signedIn := signin.From(ctx); signedIn && c.Device != "" {
		device = c.Device
	}
	n := s.readings.show(scale.GetName(), &pb.WatchReadingsResponse{Weight: w, Device: device})
	return &pb.ShowReadingResponse{Weight: w, Watchers: count(n)}, nil
}

func (s scales) WatchReadings(r *pb.WatchReadingsRequest, stream grpc.ServerStreamingServer[pb.WatchReadingsResponse]) error {
	d, scale := scaleSetting.get(stream.Context(), s.counter, r.GetName())
	if d.err != nil {
		return d.err
	}
	heard, leave := s.readings.join(scale.GetName())
	if heard == nil {
		return tooManyWatchers(maxReaders)
	}
	defer leave()
	beat := time.NewTicker(readingBeat)
	defer beat.Stop()
	for m := new(pb.WatchReadingsResponse); ; {
		if err := stream.Send(m); err != nil {
			return err
		}
		select {
		case <-stream.Context().Done():
			return stream.Context().Err()
		case m = <-heard:
		case <-beat.C:
			m = new(pb.WatchReadingsResponse)
		}
	}
}
