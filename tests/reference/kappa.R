# Weighted kappa with equal steps and its large-sample error (vcd). Tables: SexualFun (Agresti 1990) and MSPatients
# (Landis and Koch 1977), both as shipped with vcd, and one invented. Writes kappa.csv: one row a table, cells by row.
suppressMessages(library(vcd))
data("SexualFun"); data("MSPatients")
tables <- list(SexualFun = SexualFun, MSPatients_winnipeg = MSPatients[, , 1], MSPatients_new_orleans = MSPatients[, , 2],
  invented = matrix(c(20, 3, 0, 2, 9, 1, 0, 2, 5), 3, byrow = TRUE))
rows <- lapply(names(tables), function(name) { m <- unclass(tables[[name]]); k <- Kappa(m, weights = "Equal-Spacing")$Weighted
  data.frame(data = name, codes = nrow(m), cells = paste(t(m), collapse = " "), kappa = signif(k[["value"]], 12), error = signif(k[["ASE"]], 12)) })
write.csv(do.call(rbind, rows), "kappa.csv", row.names = FALSE, quote = FALSE)
