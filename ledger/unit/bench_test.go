package unit

import "testing"

func BenchmarkParseMass(b *testing.B) {
	for b.Loop() {
		if _, err := ParseMass("12.48 kg", KG); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkFormatMass(b *testing.B) {
	for b.Loop() {
		FormatMass(5_613_206, LB, 0)
	}
}
