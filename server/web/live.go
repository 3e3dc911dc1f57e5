package web

import (
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"strconv"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "example.org/remelt/api/remelt/v1"
)

// live tells a page that the book has grown, as server-sent events: the number of
// each new entry, and a comment now and then so that a broken line is noticed. The
// browser reconnects by itself and says the last number it saw; at first the page says
// which it was made with, so that what came while it was on its way is news too.
func (p *Pages) live(w http.ResponseWriter, r *http.Request) {
	after, err := strconv.ParseInt(cmp.Or(r.Header.Get("Last-Event-ID"), r.URL.Query().Get("after")), 10, 64)
	if err != nil {
		after = -1 // from now on
	}
	ctx := r.Context()
	parent := "shops/" + r.PathValue("shop")
	if after < 0 {
		got, err := p.call.stock.GetStock(ctx, &pb.GetStockRequest{Name: parent + "/stock"})
		if err != nil {
			http.Error(w, status.Convert(err).Message(), http.StatusNotFound)
			return
		}
		after = got.GetStock().GetSequence()
	} else if _, err := p.call.shops.GetShop(ctx, &pb.GetShopRequest{Name: parent}); err != nil {
		http.Error(w, status.Convert(err).Message(), http.StatusNotFound)
		return
	}
	stream, err := p.call.entries.WatchEntries(ctx, &pb.WatchEntriesRequest{Parent: parent, AfterSequence: after})
	if err != nil {
		http.Error(w, "the book cannot be watched now", http.StatusServiceUnavailable)
		return
	}
	w.Header().Set("Content-Type", "text/event-stream")
	w.Header().Set("X-Accel-Buffering", "no") // a proxy must not hold it back
	flush := http.NewResponseController(w)
	if _, err := fmt.Fprintf(w, "retry: 3000\nid: %d\n: here\n\n", after); err != nil || flush.Flush() != nil {
		return
	}
	for {
		got, err := stream.Recv()
		if errors.Is(err, io.EOF) || status.Code(err) == codes.Canceled || err != nil {
			return // the browser asks again
		}
		if e := got.GetEntry(); e != nil {
			_, err = fmt.Fprintf(w, "id: %d\nevent: entry\ndata: %d\n\n", e.GetSequence(), e.GetSequence())
		} else {
			_, err = fmt.Fprint(w, ": still here\n\n")
		}
		if err != nil || flush.Flush() != nil {
			return // the reader went away
		}
	}
}

// readings tells a page what a scale shows, as server-sent events: the weight as the
// scale says it, and the machine that reads it.
func (p *Pages) readings(w http.ResponseWriter, r *http.Request) {
	stream, err := p.call.scales.WatchReadings(r.Context(), &pb.WatchReadingsRequest{Name: "shops/" + r.PathValue("shop") + "/scales/" + r.PathValue("scale")})
	if err != nil {
		http.Error(w, "the scale cannot be watched now", http.StatusServiceUnavailable)
		return
	}
	first := true
	flush := http.NewResponseController(w)
	for {
		got, err := stream.Recv()
		switch {
		case err != nil && first:
			code := http.StatusServiceUnavailable
			if status.Code(err) == codes.NotFound {
				code = http.StatusNotFound // no scale of this name: the browser need not ask again
			}
			http.Error(w, status.Convert(err).Message(), code)
			return
		case err != nil:
			return // the browser asks again
		case first:
			w.Header().Set("Content-Type", "text/event-stream")
			w.Header().Set("X-Accel-Buffering", "no")
			_, err = fmt.Fprint(w, "retry: 3000\n: here\n\n")
			first = false
		case got.GetWeight() == nil:
			_, err = fmt.Fprint(w, ": still here\n\n")
		default:
			var said []byte
			if said, err = json.Marshal(map[string]any{"weight": got.GetWeight().GetTyped(), "mg": got.GetWeight().GetMg(), "device": got.GetDevice()}); err == nil {
				_, err = fmt.Fprintf(w, "event: reading\ndata: %s\n\n", said)
			}
		}
		if err != nil || flush.Flush() != nil {
			return // the reader went away
		}
	}
}
