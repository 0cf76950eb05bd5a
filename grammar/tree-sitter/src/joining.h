// Words that join what stands before them, and so are never units.
// Made from the compiler's own table; do not edit.
static const char *const JOINING[] = {"at", "per", "rise", "fall", "lines", "within", "is", "as", "like", "of", "because", "until", "where", "and", "to"};
