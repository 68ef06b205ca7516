package fieldbook

import (
	"fmt"
	"strings"
	"time"
)

var withOffset = []string{"2006-01-02 15:04:05Z07:00", "2006-01-02 15:04Z07:00", "2006-01-02T15:04:05Z07:00", "2006-01-02T15:04Z07:00"}
var wallClock = []string{"2006-01-02 15:04:05", "2006-01-02 15:04", "2006-01-02T15:04:05", "2006-01-02T15:04", "02.01.2006 15:04:05", "02.01.2006 15:04", "2.1.2006 15:04:05", "2.1.2006 15:04"}

// parseTime reads a moment; zone is nil where none is stated.
func parseTime(s string, zone *time.Location) (time.Time, error) {
	s = strings.TrimSpace(strings.Join(strings.Fields(s), " "))
	for _, layout := range withOffset {
		if t, err := time.Parse(layout, s); err == nil {
			if zone != nil {
				return t.In(zone), nil
			}
			return t, nil
		}
	}
	for _, layout := range wallClock {
		wall, err := time.Parse(layout, s)
		if err != nil {
			continue
		}
		if zone == nil {
			return time.Time{}, fmt.Errorf("%q has no time zone; name it with --zone, like Europe/London, or write \"time (UTC)\" in the first line if the clock showed UTC", s)
		}
		t := time.Date(wall.Year(), wall.Month(), wall.Day(), wall.Hour(), wall.Minute(), wall.Second(), 0, zone)
		const layout = "2006-01-02 15:04:05"
		if t.Format(layout) != wall.Format(layout) {
			return time.Time{}, fmt.Errorf("%q does not exist in %s: the clock is put forward over it; was it read on another clock?", s, zone)
		}
		for _, shift := range []time.Duration{-time.Hour, time.Hour, -30 * time.Minute, 30 * time.Minute} {
			if other := t.Add(shift); other.Format(layout) == t.Format(layout) {
				a, b := t, other
				if b.Before(a) {
					a, b = b, a
				}
				return time.Time{}, fmt.Errorf("%q happened twice in %s, since the clock is put back; which is it? Write %s or %s", s, zone, a.Format("2006-01-02T15:04:05Z07:00"), b.Format("2006-01-02T15:04:05Z07:00"))
			}
		}
		return t, nil
	}
	if strings.Contains(s, "/") {
		return time.Time{}, fmt.Errorf("%q: is the day first or the month? Write 2021-04-30 09:10", s)
	}
	return time.Time{}, fmt.Errorf("%q is not a date and time; write 2021-04-30 09:10, or have columns date and time", s)
}

// moment is how a time is told.
func moment(t time.Time) string { return t.Format("2006-01-02 15:04:05 MST") }
