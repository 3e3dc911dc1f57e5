package ledger

import (
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"time"
)

// wish is an entry that somebody wants in the book: what a use case makes of a
// request, inside whatever transaction.
type wish struct {
	Meta
	kind   Kind
	digest [16]byte
	draft  func(*draft) error
	alloys alloyNames // of the import that it is in
}

// newWish checks what every request carries. cmd is its content, and rows how many
// rows the call has that it is one of; 0 for a call of its own.
func newWish(m Meta, kind Kind, cmd any, rows int, draft func(*draft) error) (*wish, error) {
	if err := m.check(); err != nil {
		return nil, err
	}
	digest, err := contentDigest(kind, m, cmd, rows)
	return &wish{Meta: m, kind: kind, digest: digest, draft: draft}, err
}

// granted is the entry that the wish's request id made; nil when there is none.
func (w *wish) granted(tx Tx) (*Entry, error) {
	s, found, err := tx.ByRequest(w.Request)
	if err != nil || !found {
		return nil, err
	}
	old, err := s.Open()
	if err != nil {
		return nil, err
	}
	if old.Digest != w.digest {
		return nil, w.reused(fmt.Sprintf("was used for entry %d with other content; use a new id for a new fact", old.Seq))
	}
	return old, nil
}

func (w *wish) reused(want string) error {
	return &Error{Class: ErrRequestReused, Reason: "REQUEST_ID_REUSED", Field: "request_id", Value: w.Request.String(), Want: want}
}

// entry drafts the entry and checks it.
func (w *wish) entry(b *Book, tx Tx) (*draft, Sealed, error) {
	d, err := b.draft(tx, w.Meta, w.kind, w.digest)
	if err != nil {
		return nil, Sealed{}, err
	}
	d.alloys = w.alloys
	if err := w.draft(d); err != nil {
		return nil, Sealed{}, err
	}
	s, err := d.seal()
	return d, s, err
}

// contentDigest tells a repeated request from a reused id: SHA-256 over the kind
// and the JSON of what was asked, cut to 16 bytes.
func contentDigest(kind Kind, m Meta, cmd any, rows int) (d [16]byte, err error) {
	content := struct {
		Kind     Kind
		Happened time.Time `json:",omitzero"`
		Reason   string    `json:",omitempty"`
		Cmd      any
		Rows     int `json:",omitempty"`
	}{kind, m.Happened.UTC(), m.Reason, cmd, rows}
	if m.Happened.IsZero() {
		content.Happened = time.Time{}
	}
	raw, err := json.Marshal(content)
	if err != nil {
		return d, fmt.Errorf("digest of a %s request: %w", kind, err)
	}
	sum := sha256.Sum256(raw)
	copy(d[:], sum[:])
	return d, nil
}
