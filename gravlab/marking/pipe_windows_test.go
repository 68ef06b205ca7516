package marking

import "testing"

func pipe(t *testing.T, path string) string {
	t.Skip("Windows has no named pipes among its files")
	return path
}
