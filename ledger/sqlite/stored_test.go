package sqlite

import (
	"bytes"
	"compress/gzip"
	"context"
	"flag"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"testing"
	"time"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
	"example.org/remelt/ledger/shop"
	"example.org/remelt/ledger/storetest"
)

var keepSchema = flag.Bool("keep-schema", false, "keep a file of the newest schema in testdata, for the tests of later ones")

func storedFile(version int) string {
	return filepath.Join("testdata", fmt.Sprintf("book-%04d.gz", version))
}

// A file of each schema that there was, with the worked heat in it, is opened,
// upgraded, whole, and goes on; what it was is kept beside it. A new schema keeps a
// file of its own: go test ./ledger/sqlite -run StoredSchemas -keep-schema.
func TestStoredSchemas(t *testing.T) {
	if *keepSchema {
		keepStored(t, newest())
	}
	for _, m := range migrations {
		t.Run(fmt.Sprintf("%04d", m.version), func(t *testing.T) {
			f, err := os.Open(storedFile(m.version))
			noError(t, err)
			defer f.Close()
			z, err := gzip.NewReader(f)
			noError(t, err)
			raw, err := io.ReadAll(z)
			noError(t, err)
			path := filepath.Join(t.TempDir(), "book.remelt")
			writeFile(t, path, raw)
			if v, err := inspect(path); err != nil || v != m.version {
				t.Fatalf("the file is of schema %d, %v", v, err)
			}
			s := open(t, path)
			defer s.Close()
			ctx := context.Background()
			v, err := ledger.Verify(ctx, s, "harrow", nil)
			if err != nil || v.Fault != nil || v.Entries != storedEntries {
				t.Fatalf("%d entries, %+v, %v", v.Entries, v.Fault, err)
			}
			b := &ledgertest.Shop{Shop: shop.New(s, "harrow", time.Now), T: t}
			b.Want(285, "molds/41") // what is not settled yet
			b.Want(380, "oxide/41")
			e, err := b.WeighIn(ctx, ledger.Meta{Who: "mara"}, ledger.WeighIn{Alloy: "C87300", Form: ledger.Cup, Weighing: ledgertest.Net(120)})
			if err != nil || e.Seq != storedEntries+1 {
				t.Errorf("it does not go on: %v, %v", e, err)
			}
			noError(t, s.KeepSecret(ctx, "harrow", ledger.Secret{Kind: ledger.SecretPassword, ID: "jo", For: "jo"}))
			storetest.VerifyAll(t, s)
			kept, err := os.ReadFile(path + fmt.Sprintf(".before-%04d", newest()))
			if m.version < newest() && (err != nil || !bytes.Equal(kept, raw)) {
				t.Errorf("what it was is not kept: %v", err)
			}
		})
	}
}

// storedEntries is how many entries the stored files have.
const storedEntries = 30

func keepStored(t *testing.T, version int) {
	t.Helper()
	from := ledgertest.RunHeat41(t)
	from.BringHome()
	s := open(t, newPath(t))
	defer s.Close()
	ctx := context.Background()
	if _, err := ledger.Copy(ctx, from.Store, s, "harrow", nil); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "copy")
	noError(t, s.Backup(ctx, path))
	raw, err := os.ReadFile(path)
	noError(t, err)
	var z bytes.Buffer
	w, err := gzip.NewWriterLevel(&z, gzip.BestCompression)
	noError(t, err)
	_, err = w.Write(raw)
	noError(t, err)
	noError(t, w.Close())
	noError(t, os.MkdirAll("testdata", 0o755))
	noError(t, os.WriteFile(storedFile(version), z.Bytes(), 0o644))
}
