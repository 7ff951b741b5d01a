"""A certificate's comparisons: the curve fitted from them, their assessment, what the certificate leaves out."""
