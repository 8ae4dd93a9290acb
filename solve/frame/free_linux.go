package frame

import (
	"bufio"
	"fmt"
	"os"
	"strings"
)

// systemFree returns what the kernel says can be allocated without swapping, or
// what is left within the limit of a container where that is less.
func systemFree() (int64, bool) {
	f, err := os.Open("/proc/meminfo")
	if err != nil {
		return 0, false
	}
	defer f.Close()
	free := int64(-1)
	for lines := bufio.NewScanner(f); lines.Scan(); {
		if rest, ok := strings.CutPrefix(lines.Text(), "MemAvailable:"); ok {
			var kb int64
			if _, err := fmt.Sscan(rest, &kb); err == nil {
				free = kb << 10
			}
			break
		}
	}
	most, ok1 := number("/sys/fs/cgroup/memory.max")
	used, ok2 := number("/sys/fs/cgroup/memory.current")
	if ok1 && ok2 && free > most-used {
		free = max(0, most-used)
	}
	return free, free >= 0
}

// number reads a file that holds one number.
func number(path string) (n int64, ok bool) {
	b, err := os.ReadFile(path)
	if err != nil {
		return 0, false
	}
	_, err = fmt.Sscan(string(b), &n)
	return n, err == nil
}
