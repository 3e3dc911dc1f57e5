package lineage

import "iter"

const (
	pageBits = 7 // a sweep looks at all places of a page: few, so that a thin trace stays cheap
	pageLen  = 1 << pageBits
)

// pages is an array that takes memory only where it was written to.
type pages[T any] struct {
	page []*[pageLen]T
	free []*[pageLen]T // all zero
	made int           // pages, of which as many again are made at a time
}

func newPages[T any](n int) *pages[T] {
	return &pages[T]{page: make([]*[pageLen]T, (n+pageLen-1)/pageLen)}
}

// at returns a place to read and write.
func (p *pages[T]) at(i int32) *T {
	pg := p.page[i>>pageBits]
	if pg == nil {
		pg = p.fill(i >> pageBits)
	}
	return &pg[i&(pageLen-1)]
}

func (p *pages[T]) fill(k int32) *[pageLen]T {
	if len(p.free) == 0 {
		slab := make([][pageLen]T, min(max(p.made, 1), 64))
		p.made += len(slab)
		for i := range slab {
			p.free = append(p.free, &slab[i])
		}
	}
	last := len(p.free) - 1
	pg := p.free[last]
	p.free = p.free[:last]
	p.page[k] = pg
	return pg
}

// get returns the value, zero where nothing was written.
func (p *pages[T]) get(i int32) (x T) {
	if pg := p.page[i>>pageBits]; pg != nil {
		return pg[i&(pageLen-1)]
	}
	return x
}

// all goes through the places of the pages that were written to.
func (p *pages[T]) all() iter.Seq2[int32, T] {
	return func(yield func(int32, T) bool) {
		for k, pg := range p.page {
			if pg == nil {
				continue
			}
			for j, x := range pg {
				if !yield(int32(k<<pageBits|j), x) {
					return
				}
			}
		}
	}
}

// release takes back page k, which must be all zero again.
func (p *pages[T]) release(k int32) {
	p.free = append(p.free, p.page[k])
	p.page[k] = nil
}
