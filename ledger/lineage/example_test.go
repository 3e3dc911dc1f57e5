package lineage_test

import (
	"fmt"

	"example.org/remelt/ledger/lineage"
)

// Two ingot lots go into a heat; its pigs go into the next with new ingot. Which
// castings hold metal of the first ingot lot?
func Example() {
	const kg = 1_000_000
	g := lineage.New()
	for _, t := range []lineage.Transfer{
		{Seq: 1, From: "", To: "lot/L1-4", Mg: 30 * kg},
		{Seq: 2, From: "", To: "lot/L2-2", Mg: 60 * kg},
		{Seq: 3, From: "lot/L1-4", To: "heat/41", Mg: 30 * kg, Melt: true},
		{Seq: 3, From: "lot/L2-2", To: "heat/41", Mg: 30 * kg, Melt: true},
		{Seq: 4, From: "heat/41", To: "casting/heron", Mg: 40 * kg},
		{Seq: 5, From: "heat/41", To: "lot/L3-9", Mg: 20 * kg},
		{Seq: 6, From: "lot/L3-9", To: "heat/42", Mg: 20 * kg, Melt: true},
		{Seq: 6, From: "lot/L2-2", To: "heat/42", Mg: 20 * kg, Melt: true},
		{Seq: 7, From: "heat/42", To: "casting/otter", Mg: 40 * kg},
	} {
		if err := g.Append(t); err != nil {
			fmt.Println(err)
		}
	}
	holds, _ := g.Forward("lot/L1-4", lineage.Latest)
	for _, h := range holds {
		if h.Mg > 0 {
			fmt.Printf("%s holds %d mg of it, %.0f %%\n", h.Node, h.Mg, 100*h.Fraction)
		}
	}
	age, _ := g.Age("casting/otter", lineage.Latest)
	fmt.Printf("the otter was melted %.1f times on average\n", age.Mean)
	// Output:
	// casting/heron holds 20000000 mg of it, 50 %
	// casting/otter holds 10000000 mg of it, 25 %
	// the otter was melted 1.5 times on average
}
