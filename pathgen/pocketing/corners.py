def sharpened(one, parts, opened, trace, options): return opened
