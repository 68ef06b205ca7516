//go:build unix

package kernel

import "context"

// startOwn starts our kernel in this process.
func startOwn(ctx context.Context, o ServeOptions) (engine, connection, error) {
	s, err := supervise(ctx, nil, o)
	if err != nil {
		return nil, connection{}, err
	}
	return s, s.conn, nil
}

func (s *supervisor) over() <-chan struct{} { return s.gone }
