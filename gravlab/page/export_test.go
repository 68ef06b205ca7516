package page

import "time"

// SetPatience sets, before the first request, how slowly one may come.
func (s *Server) SetPatience(grace time.Duration, rate int64) {
	s.door.Grace, s.door.Rate = grace, rate
}
