"""Another file's columns, codes and units as ours."""
