package web

import (
	pb "example.org/remelt/api/remelt/v1"
)

// bookPage is the book itself, newest first.
type bookPage struct {
	Entries []*pb.Entry
	Next    string
	Later   bool // this is not the newest page
}

const entriesShown = 60

func (p *Pages) book(v *visit) (frame, error) {
	token := v.r.URL.Query().Get("from")
	got, err := p.call.entries.ListEntries(v.ctx, &pb.ListEntriesRequest{Parent: "shops/" + v.ID, OrderBy: "sequence desc", PageSize: entriesShown, PageToken: token})
	if err != nil {
		return frame{}, err
	}
	return frame{Title: "The book", Here: "book", Live: token == "",
		Main: bookPage{Entries: got.GetEntries(), Next: got.GetNextPageToken(), Later: token != ""}}, nil
}
