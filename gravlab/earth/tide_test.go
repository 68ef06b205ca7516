package earth

import (
	"math"
	"testing"
	"time"

	"gravity.example/testdata"
)

func TestTideAgainstEphemeris(t *testing.T) {
	for _, c := range []struct {
		table string
		site  Site
	}{
		{"tide_check.csv", Site{-33.625 * degree, 149.25 * degree, 845}},
		{"tide_400d.csv", Site{54.625 * degree, -2.375 * degree, 310}},
	} {
		var worst, square, worstSun float64
		rows := testdata.Table(c.table)
		for _, row := range rows {
			at, err := time.Parse(time.RFC3339, row["utc"])
			if err != nil {
				t.Fatal(err)
			}
			tide, err := c.site.Tide(at)
			if err != nil {
				t.Fatal(err)
			}
			moon := math.Abs(tide.Moon*1e9 - row.Float("moon_nm_s2"))
			sun := math.Abs(tide.Sun*1e9 - row.Float("sun_nm_s2"))
			worst, worstSun = math.Max(worst, moon), math.Max(worstSun, sun)
			square += (moon + sun) * (moon + sun)
		}
		t.Logf("%s: Moon within %.3f, Sun within %.3f, rms %.3f nm/s²", c.table, worst, worstSun, math.Sqrt(square/float64(len(rows))))
		if worst > 0.5 || worstSun > 0.5 {
			t.Errorf("%s: Moon differs by %.3f, Sun by %.3f nm/s²", c.table, worst, worstSun)
		}
	}
}
