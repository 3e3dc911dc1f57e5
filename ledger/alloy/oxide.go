package alloy

import (
	"fmt"
	"math/big"
	"slices"
)

// AtomicWeights names the source of the weights below: IUPAC technical report
// "Atomic weights of the elements 2013", Pure Appl. Chem. 88 (2016) 265–291, the
// table abridged to five figures, conventional values for Mg, O and Si (given
// there as intervals), read in public transcriptions of that table. From memory:
// the 2021 report changed none of these but the uncertainty of Pb.
const AtomicWeights = "IUPAC 2013, abridged to five figures (Pure Appl. Chem. 88 (2016) 265)"

// atomicWeight in thousandths, exact as printed.
var atomicWeight = map[string]int64{
	"Al": 26982, "Be": 9012, "Cr": 51996, "Cu": 63546, "Fe": 55845, "Mg": 24305, "Mn": 54938,
	"Ni": 58693, "O": 15999, "P": 30974, "Pb": 207200, "Sb": 121760, "Si": 28085, "Sn": 118710, "Ti": 47867, "Zn": 65380,
}

type formula struct {
	oxide, metal   string
	metals, oxygen int64
}

var formulas = []formula{
	{"Al2O3", "Al", 2, 3}, {"BeO", "Be", 1, 1}, {"Cr2O3", "Cr", 2, 3}, {"Cu2O", "Cu", 2, 1}, {"CuO", "Cu", 1, 1},
	{"Fe2O3", "Fe", 2, 3}, {"Fe3O4", "Fe", 3, 4}, {"FeO", "Fe", 1, 1}, {"MgO", "Mg", 1, 1}, {"Mn3O4", "Mn", 3, 4},
	{"MnO", "Mn", 1, 1}, {"NiO", "Ni", 1, 1}, {"P2O5", "P", 2, 5}, {"PbO", "Pb", 1, 1}, {"Sb2O3", "Sb", 2, 3},
	{"SiO2", "Si", 1, 2}, {"SnO2", "Sn", 1, 2}, {"TiO2", "Ti", 1, 2}, {"ZnO", "Zn", 1, 1},
}

// Oxides lists the formulas this package knows, in order.
func Oxides() []string {
	out := make([]string, len(formulas))
	for i, f := range formulas {
		out[i] = f.oxide
	}
	return out
}

// MetalShare is the part of an oxide that is metal, in millionths by mass. A
// shop may keep a rounded one of its own (800 000 for "1.25 of oxide for 1 of
// copper", where the exact part of CuO is 798 869).
type MetalShare int64

const million = 1_000_000

// Of returns the metal (mg) in a mass of oxide (mg), rounded to the nearest
// milligram, halves away from zero.
func (s MetalShare) Of(oxideMg int64) int64 {
	return divide(big.NewInt(oxideMg), big.NewInt(int64(s)), big.NewInt(million))
}

// OxideOf returns the oxide (mg) that a mass of metal (mg) becomes, rounded
// likewise. The share must be above zero.
func (s MetalShare) OxideOf(metalMg int64) int64 {
	return divide(big.NewInt(metalMg), big.NewInt(million), big.NewInt(int64(s)))
}

// Check refuses a share that no oxide has.
func (s MetalShare) Check() error {
	if s <= 0 || s >= million {
		return fmt.Errorf("metal share %d: give millionths between 1 and 999999", int64(s))
	}
	return nil
}

// MetalShareOf returns the metal share of an oxide by its formula, rounded to the
// nearest millionth, from standard atomic weights (see AtomicWeights).
func MetalShareOf(oxide string) (MetalShare, error) {
	num, den, err := stoichiometry(oxide)
	if err != nil {
		return 0, err
	}
	return MetalShare(divide(big.NewInt(million), big.NewInt(num), big.NewInt(den))), nil
}

// MetalInOxide returns the metal (mg) in a mass of an oxide (mg) by its formula,
// from the exact ratio of atomic weights, rounded to the nearest milligram.
func MetalInOxide(oxide string, oxideMg int64) (metalMg int64, err error) {
	num, den, err := stoichiometry(oxide)
	if err != nil {
		return 0, err
	}
	return divide(big.NewInt(oxideMg), big.NewInt(num), big.NewInt(den)), nil
}

// OxideMetal returns the metal of an oxide, e.g. "Cu" for "CuO".
func OxideMetal(oxide string) (string, error) {
	f, err := find(oxide)
	return f.metal, err
}

func find(oxide string) (formula, error) {
	i := slices.IndexFunc(formulas, func(f formula) bool { return f.oxide == oxide })
	if i < 0 {
		return formula{}, fmt.Errorf("oxide %q is not known: one of %v", oxide, Oxides())
	}
	return formulas[i], nil
}

func stoichiometry(oxide string) (num, den int64, err error) {
	f, err := find(oxide)
	if err != nil {
		return 0, 0, err
	}
	metal := f.metals * atomicWeight[f.metal]
	return metal, metal + f.oxygen*atomicWeight["O"], nil
}

// divide returns a·b/c rounded to nearest, halves away from zero; b and c are positive.
func divide(a, b, c *big.Int) int64 {
	p := new(big.Int).Mul(a, b)
	p.Lsh(p, 1)
	if p.Sign() < 0 {
		p.Sub(p, c)
	} else {
		p.Add(p, c)
	}
	return p.Quo(p, new(big.Int).Lsh(c, 1)).Int64()
}
