//go:build unix

package kernel

import "context"

// startOwn starts our kernel in this process.
func startOwn(ctx context.Context, conn connection, o ServeOptions) (engine, error) {
	s, err := supervise(ctx, conn, "", o)
	if err != nil {
		return nil, err
	}
	return s, nil
}

func (s *supervisor) over() <-chan struct{} { return s.gone }
