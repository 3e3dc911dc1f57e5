package memory_test

import (
	"testing"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/memory"
	"example.org/remelt/ledger/storetest"
)

func TestStore(t *testing.T) {
	storetest.Run(t, func(*testing.T) ledger.Store { return memory.New() })
}
