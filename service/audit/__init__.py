"""A whole library judged: answers streamed into files, figures summed up in bounded memory."""
