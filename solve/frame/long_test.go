package frame

import "flag"

var long = flag.Bool("long", false, "run the tests that take minutes, too")
