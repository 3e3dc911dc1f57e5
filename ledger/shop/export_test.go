package shop

import (
	"context"

	"example.org/remelt/ledger/lineage"
)

// Through is the moment after an entry.
func Through(seq int64) AsOf { return AsOf{through: seq} }

// Lineage is the graph of all the book.
func (s *Shop) Lineage(ctx context.Context) (*lineage.Graph, error) {
	g, _, err := s.lineage(ctx)
	return g, err
}
