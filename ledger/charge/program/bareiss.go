package program

import "math/big"

// bareiss solves M z = b in whole numbers: z = num/det. M is k rows of k+1
// entries, the last one b, and is overwritten. det is nil when M is singular.
// Every division in it is exact (Bareiss 1968).
func bareiss(mat [][]*big.Int) (num []*big.Int, det *big.Int) {
	k := len(mat)
	prev := big.NewInt(1)
	var t big.Int
	for c := range k {
		piv := -1
		for i := c; i < k; i++ {
			if mat[i][c].Sign() != 0 && (piv < 0 || mat[i][c].BitLen() < mat[piv][c].BitLen()) {
				piv = i
			}
		}
		if piv < 0 {
			return nil, nil
		}
		mat[c], mat[piv] = mat[piv], mat[c]
		p := mat[c][c]
		for i := range k {
			if i == c {
				continue
			}
			f := mat[i][c]
			for j := c + 1; j <= k; j++ {
				e := mat[i][j]
				e.Mul(e, p)
				if f.Sign() != 0 && mat[c][j].Sign() != 0 {
					e.Sub(e, t.Mul(f, mat[c][j]))
				}
				e.Quo(e, prev)
			}
			f.SetInt64(0)
		}
		prev = p
	}
	num = make([]*big.Int, k)
	for i := range k {
		num[i] = mat[i][k]
	}
	return num, prev
}
