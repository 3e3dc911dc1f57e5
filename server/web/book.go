package web

import (
	"errors"
	"fmt"
	"mime"
	"net/http"

	pb "example.org/remelt/api/remelt/v1"
)

// bookPage is the book itself, newest first.
type bookPage struct {
	Entries []*pb.Entry
	Next    string
	Later   bool  // this is not the newest page
	Close   *deed // closing a period; nil for who may not
}

const entriesShown = 60

func (p *Pages) book(v *visit) (frame, error) {
	token := v.r.URL.Query().Get("from")
	got, err := p.call.entries.ListEntries(v.ctx, &pb.ListEntriesRequest{Parent: "shops/" + v.ID, OrderBy: "sequence desc", PageSize: entriesShown, PageToken: token})
	if err != nil {
		return frame{}, err
	}
	page := bookPage{Entries: got.GetEntries(), Next: got.GetNextPageToken(), Later: token != ""}
	may, err := v.May("CostService/ClosePeriod")
	if err != nil {
		return frame{}, err
	}
	if may {
		page.Close = &deed{ID: "close", Title: "Close a period", What: "keeps its money as it is reported; what is learned later corrects the next open one", Button: "Close it", Method: "CostService/ClosePeriod",
			Path:   "/v1/shops/" + v.ID + "/closedPeriods",
			Fields: []asked{{Name: "startTime", Label: "Its first day", Day: true, Need: true, Value: v.Month(1) + "-01"}, {Name: "endTime", Label: "The first day after it", Day: true, Need: true, Value: v.Month(0) + "-01"}}}
	}
	return frame{Title: "The book", Here: "book", Live: token == "", Main: page}, nil
}

// wholePage is what was found when the whole book was derived again.
type wholePage struct{ Found *pb.Verification }

func (p *Pages) whole(v *visit) (frame, error) {
	stream, err := p.call.shops.VerifyShop(v.ctx, &pb.VerifyShopRequest{Name: "shops/" + v.ID})
	for err == nil {
		var m *pb.VerifyShopResponse
		if m, err = stream.Recv(); m.GetResult() != nil {
			return frame{Title: "Is the book whole?", Here: "book", Main: wholePage{m.GetResult()}}, nil
		}
	}
	return frame{}, err
}

// backup sends a copy of the book to keep. It is verified before its first byte is
// sent; a copy that breaks off is broken off for the browser too.
func (p *Pages) backup(w http.ResponseWriter, r *http.Request) {
	v, err := p.visit(r)
	if err != nil {
		p.fail(w, r, v, err)
		return
	}
	stream, err := p.call.shops.BackupShop(v.ctx, &pb.BackupShopRequest{Name: "shops/" + v.ID})
	sent := int64(0)
	for err == nil {
		var m *pb.BackupShopResponse
		if m, err = stream.Recv(); err != nil {
			break
		}
		if kept := m.GetResult(); kept != nil {
			if kept.GetSizeBytes() != sent || !kept.GetVerification().GetWhole() {
				err = errors.New("the copy is not what was to be sent")
				break
			}
			return
		}
		if len(m.GetChunk()) == 0 {
			continue
		}
		if sent == 0 {
			h := w.Header()
			h.Set("Content-Type", "application/vnd.sqlite3")
			h.Set("Cache-Control", "no-store")
			h.Set("Content-Disposition", mime.FormatMediaType("attachment",
				map[string]string{"filename": fmt.Sprintf("%s-%s.db", v.ID, v.now.In(v.zone).Format("2006-01-02"))}))
		}
		var n int
		n, err = w.Write(m.GetChunk())
		sent += int64(n)
	}
	if sent > 0 {
		panic(http.ErrAbortHandler)
	}
	p.fail(w, r, v, err)
}
