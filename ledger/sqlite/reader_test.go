package sqlite

import (
	"path/filepath"
	"strings"
	"testing"
)

// Records are found by the keys that lead to them: those of a parent by the parent, and
// not among all of their kind.
func TestRecordsAreFoundByKeys(t *testing.T) {
	s, err := Open(t.Context(), filepath.Join(t.TempDir(), "book.db"), Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	for query, key := range map[string]string{records: "PRIMARY KEY (shop=? AND name>? AND name<?)", recordsOfParent: "name_of_parent (shop=? AND parent=? AND name>? AND name<?)"} {
		var plan []string
		err := s.read(t.Context(), func(c *conn) error {
			r := &reader{c: c, ctx: t.Context()}
			return r.all("EXPLAIN QUERY PLAN "+query, []any{1, "lot/", "lot0", 10, "heat/41"}[:strings.Count(query, "?")], func(row *cursor) error {
				var id, parent, unused int64
				var step string
				err := row.Scan(&id, &parent, &unused, &step)
				plan = append(plan, step)
				return err
			})
		})
		if err != nil || len(plan) != 2 || !strings.HasSuffix(plan[0], key) {
			t.Errorf("%s\nis answered by %q, want %s: %v", query, plan, key, err)
		}
	}
}
