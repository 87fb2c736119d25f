# The data sets of ../golden as the other scripts read them
occupants <- read.csv("../golden/occupants_90.csv")
endometrial <- read.csv("../golden/endometrial.csv")
infert <- read.csv("../golden/infert.csv")
bacteria <- read.csv("../golden/bacteria.csv")
cbpp <- read.csv("../golden/cbpp.csv") # one row per herd and period: made one row per animal
cbpp <- do.call(rbind, lapply(seq_len(nrow(cbpp)), function(i) with(cbpp[i, ],
  data.frame(herd, period, ill = rep(c(1, 0), c(incidence, size - incidence))))))
for (p in 2:4) cbpp[[paste0("period", p)]] <- as.integer(cbpp$period == p)
tight <- glm.control(epsilon = 1e-14, maxit = 100)
write_rows <- function(rows, file) {
  out <- do.call(rbind, rows)
  numbers <- sapply(out, is.numeric)
  out[numbers] <- lapply(out[numbers], signif, 12)
  write.csv(out, file, row.names = FALSE, quote = FALSE)
}
