package unit

// VolumeUnit names a unit of volume; its text is the symbol that is shown.
type VolumeUnit string

// The units of volume. A gallon and a fluid ounce are those of the United States.
const (
	Litre           VolumeUnit = "l"
	Millilitre      VolumeUnit = "ml"
	CubicCentimetre VolumeUnit = "cm3"
	CubicInch       VolumeUnit = "in3"
	CubicFoot       VolumeUnit = "ft3"
	Gallon          VolumeUnit = "gal"   // 231 in3
	FluidOunce      VolumeUnit = "fl oz" // 1/128 gal
)

// MaxVolume is the largest volume read, in cubic millimetres: 1000 m³.
const MaxVolume int64 = 1e12

// volumes holds the sizes in cubic millimetres, all exact: the inch is 25.4 mm
// (NIST SP 811, Appendix B), the foot 12 in, the gallon 231 in³.
var volumes = kind{
	name: "volume", most: MaxVolume, mostText: "1000000 l",
	measures: []measure{
		{symbol: "l", size: exact("1000000"), decimals: 3,
			names: []string{"liter", "liters", "litre", "litres"}},
		{symbol: "ml", size: exact("1000"), decimals: 0,
			names: []string{"milliliter", "milliliters", "millilitre", "millilitres"}},
		{symbol: "cm3", size: exact("1000"), decimals: 0,
			names: []string{"cc", "ccm", "cu cm", "cubic cm", "cubic centimeters", "cubic centimetres"}},
		{symbol: "in3", size: exact("16387.064"), decimals: 1,
			names: []string{"cu in", "cu. in", "cubic in", "cubic inch", "cubic inches"}},
		{symbol: "ft3", size: exact("28316846.592"), decimals: 3,
			names: []string{"cu ft", "cu. ft", "cubic ft", "cubic foot", "cubic feet"}},
		{symbol: "gal", size: exact("3785411.784"), decimals: 2,
			names: []string{"gals", "gallon", "gallons", "us gal", "us gallon", "us gallons"}},
		{symbol: "fl oz", size: exact("29573.5295625"), decimals: 1,
			names: []string{"fl. oz", "floz", "fluid ounce", "fluid ounces"}},
	},
}

// ParseVolume reads a volume as typed, such as "1.2 l", "350 ml", "12 in3" or
// "0.5 gal", and gives the nearest cubic millimetre (a microlitre), half to even.
// A number without a unit takes def, "" for no default. Refusals are an [*Error].
func ParseVolume(text string, def VolumeUnit) (mm3 int64, err error) {
	return volumes.parse(text, string(def))
}

// FormatVolume writes a volume in u with its symbol. The last digit is no coarser
// than the division (in mm³); division 0 gives 1 ml for litres, 1 ml, 0.1 in3,
// 0.001 ft3, 0.01 gal and 0.1 fl oz. A unit that does not exist is shown as l.
func FormatVolume(mm3 int64, u VolumeUnit, division int64) string {
	m := volumes.symbol(string(u))
	if m == nil {
		m = volumes.symbol("l")
	}
	return fixed(m.in(mm3), m.places(division)) + " " + m.symbol
}
