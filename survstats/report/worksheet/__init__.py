"""The worksheet: one offline page on which a reader tries figures of their own."""
